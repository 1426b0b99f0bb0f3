"""A model of the RP2 boards: their registers and the PIO emulator."""
