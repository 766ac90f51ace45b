"""What is wired to this controller. Whoever builds it edits this file, then flashes.

Levels and dividers belong to the wiring, not to the job, so they are no settings.
"""

PUMP_HZ = 10000  # 5000 to 20000 for a motor driver, 100 to 200 for a hydraulic valve
GNSS_BAUD = 9600  # of a GNSS receiver on pin GNSS_RX (RP2040, RP2350); 0: none
CAN_MHZ = 0  # crystal of an MCP2515 on pin CAN_SELECT (RP2040, RP2350), 8 or 16; 0: none
SD_CARD = 0  # 1: an SD card for the trace on pin CARD_SELECT (RP2040, RP2350)
SUPPLY_FULL_MV = 25740  # supply that gives a full reading: 3300 mV x (68 k + 10 k) / 10 k

PUMP_HZ_MIN = 50
PUMP_HZ_MAX = 25000
GNSS_BAUD_MIN = 4800
GNSS_BAUD_MAX = 115200


def problems() -> list[str]:
    """Return what is wrong with the values above, in words."""
    found = []
    if not PUMP_HZ_MIN <= PUMP_HZ <= PUMP_HZ_MAX:
        found.append("PUMP_HZ is %d, must be %d to %d" % (PUMP_HZ, PUMP_HZ_MIN, PUMP_HZ_MAX))
    if GNSS_BAUD and not GNSS_BAUD_MIN <= GNSS_BAUD <= GNSS_BAUD_MAX:
        found.append("GNSS_BAUD is %d, must be 0 or %d to %d"
                     % (GNSS_BAUD, GNSS_BAUD_MIN, GNSS_BAUD_MAX))
    if not 3300 <= SUPPLY_FULL_MV <= 60000:
        found.append("SUPPLY_FULL_MV is %d, must be 3300 to 60000" % SUPPLY_FULL_MV)
    return found


def supply_mv(reading_u16: int) -> int:
    """Return the supply from a full-scale-65535 reading; 12 bits, so that it stays a small int."""
    return (reading_u16 >> 4) * SUPPLY_FULL_MV // 4095
