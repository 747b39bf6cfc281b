"""What people see: tables, plots, the report and the drawing."""
