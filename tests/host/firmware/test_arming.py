"""Nothing starts by itself, for longer than the memory of the small interpreters lasts."""

from tests.shared.test_link import send_settings_while_the_master_bounces


def test_thousands_of_settings_never_arm_a_master_that_bounces():
    send_settings_while_the_master_bounces(5000)
