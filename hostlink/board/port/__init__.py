"""The serial ports of this computer, and the bridge chips behind them."""
