/* A small bootloader for the tests: the serial protocol of Atmel's application note AVR061 (Rev.
   2525B, 04/03), as far as pages, signature and EEPROM need it. For an ATmega328P at 16 MHz whose
   boot section begins at 0x7800. BAUD is chosen when it is compiled.

   It listens for about a second after an external reset, then starts the program at 0. Lengths,
   addresses and programming mode are checked; it never writes its own section. */

#include <avr/boot.h>
#include <avr/eeprom.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <stdbool.h>
#include <stdint.h>
#include <util/delay.h>

#define OK 0x10
#define FAILED 0x11
#define UNKNOWN 0x12
#define INSYNC 0x14
#define NOSYNC 0x15
#define END 0x20
#define OWN_SECTION 0x7800

/* Datasheet 8271H, table 20-1: at double speed baud = clock / (8 (UBRR + 1)). */
#define UBRR_VALUE ((F_CPU + 4UL * BAUD) / (8UL * BAUD) - 1)
/* Timer 1 at clock / 1024 counts 15,625 a second. */
#define WINDOW 15625U

static uint8_t page[SPM_PAGESIZE];

static void put(uint8_t byte) {
    loop_until_bit_is_set(UCSR0A, UDRE0);
    UDR0 = byte;
}

__attribute__((noreturn)) static void start_program(void) {
    loop_until_bit_is_set(UCSR0A, UDRE0);
    _delay_us(20.0 * 1000000 / BAUD); /* until the last byte has left */
    UCSR0A = UCSR0B = TCCR1B = 0;
    __asm__ volatile("jmp 0");
    __builtin_unreachable();
}

static uint8_t get(void) {
    while (bit_is_clear(UCSR0A, RXC0)) {
        if (TCNT1 > WINDOW) {
            start_program();
        }
    }
    return UDR0;
}

/* Whether the frame ends here as it must; a good one opens the window again. */
static bool ends(void) {
    if (get() != END) {
        put(NOSYNC);
        return false;
    }
    TCNT1 = 0;
    put(INSYNC);
    return true;
}

static void write_page(uint16_t at) {
    boot_page_erase(at);
    boot_spm_busy_wait();
    for (uint8_t place = 0; place < SPM_PAGESIZE; place += 2) {
        boot_page_fill(at + place, page[place] | page[place + 1] << 8);
    }
    boot_page_write(at);
    boot_spm_busy_wait();
    boot_rww_enable();
}

__attribute__((noinline, noreturn)) static void serve(void) {
    UCSR0A = _BV(U2X0);
    UBRR0 = UBRR_VALUE;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0);
    TCCR1B = _BV(CS12) | _BV(CS10);
    TCNT1 = 0;
    bool programming = false;
    uint16_t word = 0;
    for (;;) {
        uint8_t command = get();
        if (command == 0x55) {
            uint8_t low = get();
            uint8_t high = get();
            if (ends()) {
                word = low | high << 8;
                put(programming ? OK : FAILED);
            }
        } else if (command == 0x64) {
            uint16_t size = get() << 8;
            size |= get();
            uint8_t kind = get();
            for (uint16_t place = 0; place < size; place++) {
                uint8_t byte = get();
                if (place < sizeof page) {
                    page[place] = byte;
                }
            }
            if (ends()) {
                uint16_t at = word * 2;
                bool good = programming && kind == 'F' && size == sizeof page &&
                            at % SPM_PAGESIZE == 0 && word < OWN_SECTION / 2;
                if (good) {
                    write_page(at);
                }
                put(good ? OK : FAILED);
            }
        } else if (command == 0x74) {
            uint16_t size = get() << 8;
            size |= get();
            uint8_t kind = get();
            if (ends()) {
                for (uint16_t place = 0; programming && place < size; place++) {
                    put(kind == 'E' ? eeprom_read_byte((uint8_t *)(word + place))
                                    : pgm_read_byte(word * 2 + place));
                }
                put(programming ? OK : FAILED);
            }
        } else if (ends()) {
            if (command == 0x75 && programming) {
                put(SIGNATURE_0); /* the simulator has no signature row to read */
                put(SIGNATURE_1);
                put(SIGNATURE_2);
                put(OK);
            } else if (command == 0x30) {
                put(OK);
            } else if (command == 0x50 || command == 0x51) {
                programming = command == 0x50;
                put(OK);
                if (!programming) {
                    start_program();
                }
            } else {
                put(command == 0x75 ? FAILED : UNKNOWN);
            }
        }
    }
}

/* Without the compiler's start code, which would stand at 0: this is where the chip begins. */
__attribute__((naked, section(".init9"))) int main(void) {
    __asm__ volatile("clr r1");
    SP = RAMEND;
    MCUSR = 0;
    serve();
}
