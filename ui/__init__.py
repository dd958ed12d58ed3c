"""The window: draws what ``meter`` says, computes nothing."""
