"""Reports: pages, tables and objects."""
