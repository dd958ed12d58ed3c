"""What becomes of a master on its way to listeners."""
