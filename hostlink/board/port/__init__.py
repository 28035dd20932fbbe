"""Find the serial ports of this computer, and the USB bridge chips behind them."""
