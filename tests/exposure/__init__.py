"""Exposure by published rules."""
