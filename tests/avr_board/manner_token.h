/* The manner TOKEN: keywords are kept as one byte, numbers and names as three; listed back with a
   blank beside each keyword. Once a line did not fit, all that is typed is refused. */

#define FIRST_WORD 128 /* the code of the first keyword */
#define NUMBER_CODE 1  /* followed by 16 bits, low byte first */
#define NAME_CODE 2    /* followed by its letter, and by its digit with bit 7 for a $ */
#define STRING_BIT 128
#define REM_WORD FIRST_WORD

/* The first is REM; of two that begin alike the longer one stands first. */
static const char words[] PROGMEM =
    "REM\0CATALOG\0RETURN\0GOSUB\0INPUT\0PRINT\0DATA\0GOTO\0LIST\0LOAD\0NEXT\0POKE\0READ\0SAVE\0"
    "SIZE\0STEP\0STOP\0THEN\0ABS\0AND\0CLR\0DIM\0END\0FOR\0LET\0NEW\0NOT\0RND\0RUN\0SQR\0IF\0ON\0"
    "OR\0TO\0<=\0<>\0>=\0";

static bool stuck;

static uint8_t longest_line(void) { return LONGEST_LINE; }

static bool ends_line(uint8_t byte) { return byte == '\n'; }

static bool is_text(uint8_t byte) { return byte >= 32 && byte < FIRST_WORD; }

static bool is_digit(uint8_t byte) { return byte >= '0' && byte <= '9'; }

static bool is_letter(uint8_t byte) { return byte >= 'A' && byte <= 'Z'; }

static uint8_t capital(uint8_t byte) {
    return byte >= 'a' && byte <= 'z' ? byte - ('a' - 'A') : byte;
}

/* The code of the keyword that a text begins with, 0 if it does with none; its length in *size. */
static uint8_t word_at(const uint8_t *text, uint8_t length, uint8_t *size) {
    const char *word = words;
    for (uint8_t code = FIRST_WORD; pgm_read_byte(word); code++) {
        uint8_t at = 0, letter;
        while ((letter = pgm_read_byte(word + at)) && at < length && capital(text[at]) == letter) {
            at++;
        }
        if (!letter) {
            *size = at;
            return code;
        }
        while (pgm_read_byte(word++)) {
        }
    }
    return 0;
}

static uint8_t pack_number(const uint8_t *text, uint8_t length, uint8_t *out) {
    uint16_t number = 0;
    uint8_t at = 0;
    while (at < length && is_digit(text[at])) {
        number = number * 10 + text[at++] - '0';
    }
    out[0] = NUMBER_CODE;
    out[1] = number & 0xFF;
    out[2] = number >> 8;
    return at;
}

static uint8_t pack_name(const uint8_t *text, uint8_t length, uint8_t *out) {
    uint8_t at = 1;
    out[0] = NAME_CODE;
    out[1] = capital(text[0]);
    out[2] = at < length && is_digit(text[at]) ? text[at++] : 0;
    if (at < length && text[at] == '$') {
        out[2] |= STRING_BIT;
        at++;
    }
    return at;
}

/* What is typed, with codes in place of keywords, numbers and names; its length in *length. */
static const uint8_t *pack(uint8_t *text, uint8_t *length) {
    static uint8_t packed[3 * LONGEST_LINE];
    uint8_t at = 0, size = 0, count = 0, typed = *length;
    while (at < typed) {
        uint8_t code = word_at(text + at, typed - at, &size);
        if (code) {
            packed[count++] = code;
            at += size;
            if (code == REM_WORD) {
                memcpy(packed + count, text + at, typed - at);
                count += typed - at;
                break;
            }
        } else if (is_digit(text[at])) {
            at += pack_number(text + at, typed - at, packed + count);
            count += 3;
        } else if (is_letter(capital(text[at]))) {
            at += pack_name(text + at, typed - at, packed + count);
            count += 3;
        } else if (text[at] == '"') {
            do {
                packed[count++] = text[at++];
            } while (at < typed && text[at] != '"');
            if (at < typed) {
                packed[count++] = text[at++];
            }
        } else {
            if (text[at] != ' ') {
                packed[count++] = text[at];
            }
            at++;
        }
    }
    *length = count;
    return packed;
}

static uint8_t last_shown;

static void put_shown(uint8_t byte) {
    put(byte);
    last_shown = byte;
}

static void blank_before(bool wanted) {
    if (wanted && last_shown != ' ') {
        put_shown(' ');
    }
}

/* Show a keyword; returns whether a blank stands behind it. */
static bool show_word(uint8_t code) {
    const char *word = words;
    while (code-- > FIRST_WORD) {
        while (pgm_read_byte(word++)) {
        }
    }
    bool letters = is_letter(pgm_read_byte(word));
    for (uint8_t letter; (letter = pgm_read_byte(word)); word++) {
        put_shown(letter);
    }
    return letters;
}

/* Show a kept line: a blank before each keyword, and behind it where no mark follows. */
static void show(const uint8_t *held, uint8_t length) {
    bool apart = false;
    last_shown = ' ';
    for (uint8_t at = 0; at < length; at++) {
        uint8_t byte = held[at];
        if (byte >= FIRST_WORD) {
            blank_before(true);
            apart = show_word(byte);
            if (byte == REM_WORD) {
                while (++at < length) {
                    put(held[at]);
                }
            }
            continue;
        }
        blank_before(apart && !strchr("():,;", byte));
        apart = false;
        if (byte == NUMBER_CODE) {
            say_number(held[at + 1] | held[at + 2] << 8);
            last_shown = '0';
            at += 2;
        } else if (byte == NAME_CODE) {
            put_shown(held[at + 1]);
            if (held[at + 2] & ~STRING_BIT) {
                put_shown(held[at + 2] & ~STRING_BIT);
            }
            if (held[at + 2] & STRING_BIT) {
                put_shown('$');
            }
            at += 2;
        } else {
            put_shown(byte);
        }
    }
}

static void say_full(uint16_t missing) {
    (void)missing;
    stuck = true;
    say("Memory Error" END);
}

static void direct(uint8_t length) {
    if (is(length, "LIST")) {
        list();
    } else if (is(length, "NEW")) {
        used = 0;
    } else if (is(length, "PRINTSIZE")) {
        say_number(PROGRAM_BYTES - used);
        say(END);
    } else if (is(length, "SAVE")) {
        store_program();
    } else if (is(length, "LOAD")) {
        recall_program();
    } else if (!is(length, "CATALOG")) { /* which shows nothing */
        say("Syntax Error" END);
    }
}
