"""The order and the one-line form of ports that are there."""

from linktool.port_info import PortInfo, in_order, shown


def test_known_ports_come_first_and_numbers_count_by_value() -> None:
    ports = [
        PortInfo("COM3"),
        PortInfo("/dev/ttyS0"),
        PortInfo("/dev/ttyUSB10", "adapter"),
        PortInfo("/dev/ttyUSB9", "adapter"),
        PortInfo("/dev/ttyACM0", vendor_id=0x2341, product_id=1),
    ]
    assert [port.device for port in in_order(ports)] == [
        "/dev/ttyACM0",
        "/dev/ttyUSB9",
        "/dev/ttyUSB10",
        "/dev/ttyS0",
        "COM3",
    ]


def test_usb_numbers_are_four_hex_digits_each() -> None:
    """USB 2.0, 9.6.1: idVendor and idProduct are 16-bit numbers."""
    assert PortInfo("x", vendor_id=0x403, product_id=0x6001).usb == "0403:6001"
    assert PortInfo("x").usb == ""


def test_ports_are_shown_on_one_line() -> None:
    assert shown([PortInfo("COM3", "adapter"), PortInfo("COM4")]) == "COM3 (adapter), COM4"
    assert shown([]) == ""
