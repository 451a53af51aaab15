"""Files to images and back. Pure data: no clock, no port, no terminal; a format opens no files."""
