"""The journal: an embedded database that keeps passes, their soundings, findings, and the shelf."""
