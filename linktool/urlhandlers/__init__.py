"""A pyserial URL handler for the simulated board, for programs that know nothing of linktool.

serial.protocol_handler_packages.append("linktool.urlhandlers") makes
serial.serial_for_url("board://machine=dot,latency=0.016") work. pyserial looks for `//`, so it must stand
there. pyserial takes any import error in a handler for an unknown URL; it is kept to what is installed.
"""
