"""The second screen: a small page for a phone in the booth, which can look and change nothing.

Imported only where somebody asks for it. The standard library is enough: one thread with an event loop,
which reads the frozen records that the engine publishes and never touches the engine itself.
"""
