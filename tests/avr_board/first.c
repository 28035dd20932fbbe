/* Runs where a bootloader stands: says why the chip restarted, then starts the program at 0.

   It writes nothing. The tests use it to see that the simulated chip begins in the boot section
   after an external reset (bit EXTRF of MCUSR, datasheet 8271H). BAUD as in firmware.c. */

#include <avr/io.h>
#include <util/delay.h>

static void put(uint8_t byte) {
    loop_until_bit_is_set(UCSR0A, UDRE0);
    UDR0 = byte;
}

/* Without the compiler's start code, which would stand at 0: this is where the chip begins. */
__attribute__((naked, section(".init9"))) int main(void) {
    __asm__ volatile("clr r1");
    uint8_t cause = MCUSR;
    MCUSR = 0;
    UCSR0A = _BV(U2X0);
    UBRR0 = (F_CPU + 4UL * BAUD) / (8UL * BAUD) - 1;
    UCSR0B = _BV(TXEN0);
    put('<');
    put('0' + cause);
    put('>');
    _delay_us(20.0 * 1000000 / BAUD); /* until the last byte has left */
    __asm__ volatile("jmp 0");
    __builtin_unreachable();
}
