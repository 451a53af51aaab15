"""What each command does: glue between the table of commands and the jobs. Loaded when used."""
