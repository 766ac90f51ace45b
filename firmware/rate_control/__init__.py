"""The portable core of the rate controller: small integers in, small integers out.

It imports nothing outside itself, holds no clock and touches no pin. Start reading at
controller.py: its step() names the stages in the order in which a tick runs them.
"""
