"""NMEA 0183 speed reports, on sentences published elsewhere.

Sources: go-nmea, https://github.com/adrianmo/go-nmea/blob/v1.7.0/vtg.go (45.5 and
360.0); em38, https://rdrr.io/github/obrl-soil/em38/man/process_vtg.html (208.02);
https://blog.csdn.net/u014421313/article/details/127353425 (359.95 and the one
without `$`); gist.github.com, tdenewiler (170047, wrong checksum).
The first two RMC sentences are widely reproduced. 1 kn = 1852 m/h exactly.
"""

from app.nmea import MAX_SENTENCE, NmeaSpeed

try:
    from micropython import heap_lock, heap_unlock
except ImportError:  # CPython has no heap to lock

    def heap_lock():
        pass

    heap_unlock = heap_lock

# (sentence, speed in thousandths of a knot)
PUBLISHED = (
    (b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A", 22400),
    (b"$GPRMC,222414.00,A,4915.3920,N,12259.8072,W,000.2,242.0,211210,,,A*49", 200),
    (b"$GPVTG,45.5,T,67.5,M,30.45,N,56.40,K*4B", 30450),
    (b"$GPVTG,360.0,T,348.7,M,000.0,N,000.0,K*43", 0),
    (b"$GPVTG,208.02,T,,M,0.32,N,0.59,K,A*38", 320),
    (b"$GPVTG,359.95,T,,M,15.15,N,28.0,K,A*04", 15150),
)


def _sentence(body):
    """`$body*hh` with its line end; the checksum by the published rule."""
    total = 0
    for byte in body:
        total ^= byte
    return b"$" + body + b"*" + ("%02X" % total).encode() + b"\r\n"


def _read(data):
    reader = NmeaSpeed()
    reader.feed(data)
    return reader


def test_published_sentences():
    for sentence, thousandths in PUBLISHED:
        reader = _read(sentence + b"\r\n")
        exact_times_900 = thousandths * 463
        assert reader.valid, sentence
        assert (reader.accepted, reader.rejected) == (1, 0)
        assert abs(reader.speed_mm_s * 900 - exact_times_900) <= 450, sentence


def test_published_speeds_in_km_h():
    # 22.4 kn = 41.485 km/h, 0.2 kn = 0.370 km/h
    assert _read(PUBLISHED[0][0] + b"\n").speed_mm_s == 11524
    assert _read(PUBLISHED[1][0] + b"\n").speed_mm_s == 103


def test_published_slips_are_rejected():
    wrong = b"$GPRMC,170047.00,A,4121.23302,N,00201.31654,W,2.703, ,200417, , ,A*64\r\n"
    reader = _read(wrong)
    assert (reader.accepted, reader.rejected, reader.valid) == (0, 1, False)
    reader = _read(b"GPVTG,89.68,T,89.68,M,0.00,N,0.0,K*5F\r\n")
    assert (reader.accepted, reader.valid) == (0, False)


def test_one_flipped_bit_anywhere_never_gives_a_report():
    sentence = PUBLISHED[0][0] + b"\r\n"
    for position in range(1, len(sentence) - 2):
        for bit in range(7):
            damaged = bytearray(sentence)
            damaged[position] ^= 1 << bit
            reader = _read(damaged)
            # Only the case of a hexadecimal digit may change without harm.
            harmless = position == len(sentence) - 3 and bit == 5
            assert reader.accepted == (1 if harmless else 0), (position, bit)


def test_pieces_and_noise_between_sentences():
    reader = NmeaSpeed()
    stream = b"\x00\xffnoise" + PUBLISHED[3][0] + b"\r\n\r\n" + PUBLISHED[0][0] + b"\r\n"
    reports = 0
    for byte in stream:
        reports += reader.feed(bytes((byte,)))
    assert reports == 2
    assert reader.speed_mm_s == 11524


def test_cut_sentence_is_rejected_and_the_next_one_used():
    reader = _read(b"$GPVTG,360.0,T,348" + PUBLISHED[0][0] + b"\r\n")
    assert (reader.accepted, reader.rejected, reader.speed_mm_s) == (1, 1, 11524)


def test_status_and_mode_decide_validity():
    rmc = b"GPRMC,1,%s,1,N,1,E,010.0,1,230394,,,%s"
    for status, mode, valid in (
        (b"A", b"A", True),
        (b"A", b"D", True),
        (b"A", b"R", True),
        (b"V", b"A", False),
        (b"V", b"N", False),
        (b"A", b"N", False),
        (b"A", b"E", False),
        (b"A", b"S", False),
        (b"", b"A", False),
    ):
        reader = _read(_sentence(rmc % (status, mode)))
        assert reader.accepted == 1
        assert reader.valid == valid, (status, mode)
    assert _read(_sentence(b"GNRMC,1,A,1,N,1,E,010.0,1,230394,,,A,V")).valid


def test_lost_fix_keeps_the_speed_but_not_the_validity():
    reader = _read(PUBLISHED[0][0] + b"\r\n")
    reader.feed(_sentence(b"GPVTG,,T,,M,,N,,K,N"))
    assert (reader.accepted, reader.valid, reader.speed_mm_s) == (2, False, 11524)


def test_vtg_falls_back_to_km_h():
    reader = _read(_sentence(b"GPVTG,,T,,M,,N,36.0,K,A"))
    assert (reader.valid, reader.speed_mm_s) == (True, 10000)


def test_other_sentences_are_passed_over():
    for body in (b"GPGGA,1,2,3", b"PXRMC,1,A,1,N,1,E,010.0,1,2,,,A", b"GPRMCX,1,A", b"A", b""):
        reader = _read(_sentence(body))
        assert (reader.accepted, reader.rejected, reader.valid) == (0, 0, False), body


def test_odd_numbers_are_not_speeds():
    for text in (b"-1.0", b"1e3", b"1.2.3", b".", b"1000", b"99999999999", b" 1", b"0x1"):
        reader = _read(_sentence(b"GPVTG,1,T,,M," + text + b",N,,K,A"))
        assert (reader.accepted, reader.valid) == (1, False), text


def test_digits_beyond_thousandths_are_dropped():
    assert _read(_sentence(b"GPVTG,1,T,,M,10.0009999999,N,,K,A")).speed_mm_s == 5144
    assert _read(_sentence(b"GPVTG,1,T,,M,999.999,N,,K,A")).speed_mm_s == 514444


def test_overlong_sentence_is_rejected_without_growing():
    reader = _read(b"$" + b"G" * (MAX_SENTENCE + 50) + b"\r\n" + PUBLISHED[0][0] + b"\r\n")
    assert (reader.accepted, reader.rejected) == (1, 1)
    assert len(reader._line) == MAX_SENTENCE


def test_feeding_allocates_nothing():
    reader = NmeaSpeed()
    stream = b"\x00$bad\r\n" + b"\r\n".join(row[0] for row in PUBLISHED) + b"\r\n"
    reports = 0
    heap_lock()
    try:
        reports = reader.feed(stream)
    finally:
        heap_unlock()
    assert reports == len(PUBLISHED)


def test_any_bytes_are_survived():
    reader = NmeaSpeed()
    state = 1
    alphabet = b"$*,.0123456789ABCDEFGPRMCVTGNKT\r\n\x00\xff"
    for _ in range(20000):
        state = (state * 1103 + 12345) % 65536
        reader.feed(alphabet[state % len(alphabet) :][:1])
    assert not reader.valid
