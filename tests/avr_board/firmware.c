/* A small board for the tests: numbered lines kept in 999 bytes behind a serial line.

   For an ATmega328P at 16 MHz. What the processor hears while it stores a line waits in a ring that
   an interrupt fills; what does not fit there is lost, as on any board of this kind. Chosen when it
   is compiled: BAUD, LINE_MS (busy time per stored line) and RX_RING (bytes; 0 polls the
   receiver and has no ring at all).

   A line is kept as a 2-byte number, a byte for its length and its text: as many bytes as number,
   text and end byte, which the Tiny BASICs of 1976 kept. MANNER chooses other ways to talk and to
   store lines (manners.h). */

#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <avr/sleep.h>
#include <stdbool.h>
#include <stdint.h>
#include <string.h>
#include <util/atomic.h>
#include <util/delay.h>

#ifndef BAUD
#define BAUD 57600
#endif
#ifndef LINE_MS
#define LINE_MS 15
#endif
#ifndef RX_RING
#define RX_RING 64
#endif
#define TX_RING 64 /* a power of two */
#define EEPROM_BYTES 1024

#define CTRL_C 0x03
#define CTRL_U 0x15

#include "manners.h"

/* Datasheet 8271H, table 20-1: baud = clock / (samples (UBRR + 1)), with 16 samples a bit or, at
   double speed, 8. Double speed only where its error is smaller: its receiver stands less. */
#define STEPS(samples) ((F_CPU + (samples) * BAUD / 2) / ((samples) * BAUD))
#define MADE(samples) ((samples) * STEPS(samples) * BAUD)
#define APART(a, b) ((a) > (b) ? (a) - (b) : (b) - (a))
#define OFF(samples) (10000LL * APART(F_CPU, MADE(samples)) / MADE(samples))
#if OFF(8LL) < OFF(16LL)
#define DOUBLE_SPEED 1
#define UBRR_VALUE (STEPS(8UL) - 1)
#else
#define DOUBLE_SPEED 0
#define UBRR_VALUE (STEPS(16UL) - 1)
#endif

/* --- the line to the host --- */

static volatile bool interrupted;
static volatile bool listing;

static volatile uint8_t tx_ring[TX_RING];
static volatile uint8_t tx_in, tx_out;

ISR(USART_UDRE_vect) {
    if (tx_in == tx_out) {
        UCSR0B &= ~_BV(UDRIE0);
        return;
    }
    UDR0 = tx_ring[tx_out];
    tx_out = (tx_out + 1) % TX_RING;
}

static void put(uint8_t byte) {
    uint8_t next = (tx_in + 1) % TX_RING;
    while (next == tx_out) {
    }
    tx_ring[tx_in] = byte;
    tx_in = next;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { UCSR0B |= _BV(UDRIE0); }
}

#if RX_RING
static volatile uint8_t rx_ring[RX_RING];
static volatile uint8_t rx_in, rx_out, rx_waiting;

/* GPIOR1 and GPIOR2, which mean nothing to the chip, count what did not fit, for the tests. */
ISR(USART_RX_vect) {
    uint8_t byte = UDR0;
    if (byte == BREAK_KEY && (listing || !BREAK_IS_TEXT)) {
        interrupted = true;
    } else if (rx_waiting < RX_RING) {
        rx_ring[rx_in] = byte;
        rx_in = rx_in + 1 == RX_RING ? 0 : rx_in + 1;
        rx_waiting++;
    } else if (++GPIOR1 == 0) {
        GPIOR2++;
    }
}

/* The next byte. Sleeps until there is one. BREAK_KEY if it came and was no text. */
static uint8_t get(void) {
    for (;;) {
        cli();
        if (interrupted) {
            interrupted = false;
            sei();
            return BREAK_KEY;
        }
        if (rx_waiting) {
            uint8_t byte = rx_ring[rx_out];
            rx_out = rx_out + 1 == RX_RING ? 0 : rx_out + 1;
            rx_waiting--;
            sei();
            return byte;
        }
        sei(); /* takes effect after the next instruction, so no interrupt is slept through */
        sleep_cpu();
    }
}
#else
static uint8_t get(void) {
    loop_until_bit_is_set(UCSR0A, RXC0);
    return UDR0;
}
#endif

static void serial_begin(void) {
    UCSR0A = DOUBLE_SPEED ? _BV(U2X0) : 0;
    UBRR0 = UBRR_VALUE;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00); /* 8N1 */
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | (RX_RING ? _BV(RXCIE0) : 0);
}

static void say_P(const char *text) {
    uint8_t byte;
    while ((byte = pgm_read_byte(text++))) {
        put(byte);
    }
}
#define say(text) say_P(PSTR(text))

static void say_number(uint16_t number) {
    uint8_t digits[5], count = 0;
    do {
        digits[count++] = '0' + number % 10;
        number /= 10;
    } while (number);
    while (count) {
        put(digits[--count]);
    }
}

/* --- the program --- */

static uint8_t program[PROGRAM_BYTES];
static uint16_t used;

static uint16_t number_at(uint16_t place) { return program[place] | program[place + 1] << 8; }

static uint16_t next_line(uint16_t place) { return place + LINE_BYTES + program[place + 2]; }

static void say_full(uint16_t missing);
static void show(const uint8_t *held, uint8_t length);

/* Keep a line in place of any of that number; an empty one deletes. */
static void store(uint16_t number, const uint8_t *held, uint8_t length) {
    uint16_t place = 0, old = 0, size = length ? length + LINE_BYTES : 0;
    while (place < used && number_at(place) < number) {
        place = next_line(place);
    }
    if (place < used && number_at(place) == number) {
        old = next_line(place) - place;
    }
    if (used - old + size > PROGRAM_BYTES) {
        say_full(used - old + size - PROGRAM_BYTES);
        return;
    }
    memmove(program + place + size, program + place + old, used - place - old);
    used = used - old + size;
    if (size) {
        program[place] = number & 0xFF;
        program[place + 1] = number >> 8;
        program[place + 2] = length;
        memcpy(program + place + 3, held, length);
    }
}

/* Numbers above 32767 are shown negative, or not at all where numbers wrap. */
static void say_line_number(uint16_t number) {
    if (number > 32767) {
        put('-');
        number = -number;
    }
    say_number(number);
}

/* List the program. Returns whether all of it was listed. */
static bool list(void) {
    bool hidden = false;
    listing = true;
    for (uint16_t place = 0; place < used; place = next_line(place)) {
        if (interrupted) {
            interrupted = listing = false;
            say(HALTED);
            return false;
        }
        if (NUMBERS_WRAP && number_at(place) > 32767) {
            hidden = true;
            continue;
        }
        say_line_number(number_at(place));
        put(' ');
        show(program + place + 3, program[place + 2]);
        say(END);
    }
    if (hidden) {
        say(END);
    }
    listing = false;
    return true;
}

#if MANNER != CLASS
/* --- the program in EEPROM: how many bytes it has, then these bytes --- */

#define BLANK 0xFFFF

static uint16_t stored_bytes(void) {
    uint16_t size = eeprom_read_word((const uint16_t *)0);
    return size == BLANK ? 0 : size;
}

static bool store_program(void) {
    if (used + 2 > EEPROM_BYTES) {
        return false;
    }
    eeprom_update_word((uint16_t *)0, used);
    eeprom_update_block(program, (void *)2, used);
    return true;
}

static void recall_program(void) {
    used = stored_bytes();
    eeprom_read_block(program, (const void *)2, used);
}
#endif

/* --- typed lines --- */

static uint8_t line[LONGEST_LINE];

static uint8_t longest_line(void);
static bool ends_line(uint8_t byte);
static bool is_text(uint8_t byte);

/* Take a line from the host, echoing it. Returns its length, or -1 if it was given up. */
static int16_t read_line(void) {
    uint8_t length = 0;
    int8_t beyond = 0;
    say(PROMPT);
    for (;;) {
        uint8_t byte = get();
        if (ends_line(byte)) {
            say(END);
            return length;
        }
        if (!BREAK_IS_TEXT && (byte == BREAK_KEY || byte == CTRL_U)) {
            say(END);
            return -1;
        }
        if (byte == '\b') {
            if (length) {
                length--;
                say(ERASED);
            } else if (beyond < ERASED_BEYOND) {
                beyond++;
                say(ERASED);
            }
        } else if (is_text(byte)) {
            if (length < longest_line()) {
                line[length++] = byte;
                put(byte);
                if (MANNER == TOKEN && length == LONGEST_LINE) {
                    return length;
                }
            } else {
                say(TOO_LONG);
            }
        } else if (MANNER == TOKEN) {
            put(byte);
        }
    }
}

/* Whether the line is this command; blanks and the case of letters mean nothing. */
static bool is_P(uint8_t length, const char *command) {
    for (uint8_t at = 0; at < length; at++) {
        uint8_t byte = line[at];
        if (byte == ' ') {
            continue;
        }
        if (byte >= 'a' && byte <= 'z') {
            byte -= 'a' - 'A';
        }
        if (byte != pgm_read_byte(command++)) {
            return false;
        }
    }
    return pgm_read_byte(command) == 0;
}
#define is(length, command) is_P(length, PSTR(command))

#if MANNER == CLASS
#include "manner_class.h"
#elif MANNER == CAPITAL
#include "manner_capital.h"
#elif MANNER == TOKEN
#include "manner_token.h"
#endif

static void numbered(uint8_t at, uint8_t length) {
    uint32_t number = 0;
    for (; at < length && line[at] >= '0' && line[at] <= '9'; at++) {
        number = number * 10 + line[at] - '0';
        if (NUMBERS_WRAP) {
            number &= 0xFFFF;
        } else if (number > LAST_NUMBER) {
            number = LAST_NUMBER + 1;
        }
    }
    while (at < length && line[at] == ' ') {
        at++;
    }
    _delay_ms(LINE_MS);
    if (number < 1 || number > LAST_NUMBER) {
        say(BAD_NUMBER);
    } else {
        uint8_t size = length - at;
        const uint8_t *held = pack(line + at, &size);
        store(number, held, size);
    }
}

int main(void) {
    serial_begin();
    set_sleep_mode(SLEEP_MODE_IDLE);
    sleep_enable();
    sei();
    say(GREETING);
#if MANNER == CAPITAL
    say_memory();
    say("OK" END);
#endif
    for (;;) {
        int16_t length = read_line();
        uint8_t at = 0;
        while (at < length && line[at] == ' ') {
            at++;
        }
#if MANNER == TOKEN
        if (stuck) {
            say("Syntax Error" END);
            continue;
        }
#endif
        if (at >= length) {
            continue;
        }
        if (line[at] >= '0' && line[at] <= '9') {
            numbered(at, length);
        } else {
            direct(length);
        }
    }
}
