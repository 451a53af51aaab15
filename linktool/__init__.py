"""linktool: types programs into a small 6502 board through its ROM monitor, and proves them."""

VERSION = "0.1.0"
