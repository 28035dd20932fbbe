"""Firmware images and the serial bootloader: what an image is, and the protocol that writes it."""
