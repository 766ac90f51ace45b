"""Ground or wheel speed out of ISO 11783-7 messages (the CAN frame is the caller's).

Both messages carry the speed in bytes 1-2, little endian, 0.001 m/s per bit.
Source: ISOBUS parameter database, https://www.isobus.net/isobus/pGNAndSPN/15578?type=PGN
(wheel) and .../13578?type=SPN (ground). The raw ranges for error and not
available are the SAE J1939 convention (from memory).
"""

GROUND_SPEED_PGN = 65097
WHEEL_SPEED_PGN = 65096

NOT_AVAILABLE = -1
ERROR = -2

_MAX_VALID = 0xFAFF
_NOT_AVAILABLE_MIN = 0xFF00


def decode_speed_mm_s(payload):
    """Speed in mm/s (0..64255), or `NOT_AVAILABLE`, or `ERROR` (also: too short)."""
    if len(payload) < 2:
        return ERROR
    raw = payload[0] | payload[1] << 8
    if raw <= _MAX_VALID:
        return raw
    return NOT_AVAILABLE if raw >= _NOT_AVAILABLE_MIN else ERROR
