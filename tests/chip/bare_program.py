"""A program of eight Thumb instructions that toggles GP25: what the harness is tried on."""

# Encodings: Armv6-M Architecture Reference Manual, A6.7. SIO registers: RP2040 data sheet 2.3.1.7.
LDR_R0_SIO = 0x4803  # ldr r0, [pc, #12]
MOVS_R1_1 = 0x2101  # movs r1, #1
LSLS_R1_25 = 0x0649  # lsls r1, r1, #25
STR_OE_SET = 0x6241  # str r1, [r0, #0x24]  GPIO_OE_SET
STR_OUT_XOR = 0x61C1  # str r1, [r0, #0x1C]  GPIO_OUT_XOR
B_BACK = 0xE7FD  # b to the line before
NOP = 0xBF00

PIN = 25
HALFWORDS = (
    LDR_R0_SIO, MOVS_R1_1, LSLS_R1_25, STR_OE_SET, STR_OUT_XOR, B_BACK, NOP, NOP,
    0x0000, 0xD000,  # 0xD0000000, the SIO
)  # fmt: skip
CYCLES_A_TOGGLE = 3  # str to the SIO 1, b 2
