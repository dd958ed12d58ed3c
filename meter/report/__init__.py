"""A pass told on one page, for a phone, a printer, or another program."""
