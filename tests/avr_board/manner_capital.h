/* The manner CAPITAL: small letters outside quotes become capitals, in remarks too; the typed line
   has what is free of the program memory, so that a full one is deaf. One program in EEPROM. */

#define KEPT_FREE 4     /* bytes of the program memory that a typed line leaves */
#define SEEMS_LEFT 1    /* bytes that an EEPROM without a program calls left */

static uint8_t longest_line(void) {
    uint16_t free = PROGRAM_BYTES - used;
    free = free > KEPT_FREE ? free - KEPT_FREE : 0;
    return free < LONGEST_LINE ? free : LONGEST_LINE;
}

static bool ends_line(uint8_t byte) { return byte == '\r' || byte == '\n'; }

static bool is_text(uint8_t byte) {
    (void)byte;
    return true;
}

static const uint8_t *pack(uint8_t *text, uint8_t *length) {
    uint8_t quote = 0;
    for (uint8_t at = 0; at < *length; at++) {
        if (quote) {
            quote = text[at] == quote ? 0 : quote;
        } else if (text[at] == '"' || text[at] == '\'') {
            quote = text[at];
        } else if (text[at] >= 'a' && text[at] <= 'z') {
            text[at] -= 'a' - 'A';
        }
    }
    return text;
}

static void show(const uint8_t *held, uint8_t length) {
    while (length--) {
        put(*held++);
    }
}

static void say_full(uint16_t missing) {
    (void)missing;
    say("Sorry!" END "OK" END);
}

static bool has_stored(void) { return eeprom_read_word((const uint16_t *)0) != BLANK; }

static uint8_t stored_byte(uint16_t at) { return eeprom_read_byte((const uint8_t *)2 + at); }

/* What is left of the EEPROM: it is told as if the rows were kept as they are listed. */
static uint16_t eeprom_left(void) {
    uint16_t left = EEPROM_BYTES;
    if (!has_stored()) {
        return SEEMS_LEFT;
    }
    for (uint16_t place = 0; place < stored_bytes();) {
        uint8_t length = stored_byte(place + 2);
        uint16_t number = stored_byte(place) | stored_byte(place + 1) << 8;
        left -= length + 1 + 2; /* blank and row end */
        if (number > 32767) {
            left--; /* its sign */
            number = -number;
        }
        do {
            left--;
            number /= 10;
        } while (number);
        place += LINE_BYTES + length;
    }
    return left;
}

static void say_memory(void) {
    say_number(PROGRAM_BYTES - used);
    say(" bytes free." END "1024 EEProm bytes total." END);
    say_number(eeprom_left());
    say(" EEProm bytes available." END);
}

static void list_stored(void) {
    if (!has_stored()) {
        for (uint16_t at = 0; at < EEPROM_BYTES; at++) {
            put('?');
        }
    }
    for (uint16_t place = 0; place < stored_bytes();) {
        uint8_t length = stored_byte(place + 2);
        say_line_number(stored_byte(place) | stored_byte(place + 1) << 8);
        put(' ');
        for (uint8_t at = 0; at < length; at++) {
            put(stored_byte(place + 3 + at));
        }
        say(END);
        place += LINE_BYTES + length;
    }
}

static void direct(uint8_t length) {
    if (is(length, "LIST")) {
        if (list()) {
            say("OK" END);
        }
    } else if (is(length, "NEW")) {
        used = 0;
    } else if (is(length, "MEM")) {
        say_memory();
    } else if (is(length, "ESAVE")) {
        if (store_program()) {
            say("OK" END);
        } else {
            say_full(0);
        }
    } else if (is(length, "ELIST")) {
        list_stored();
    } else if (is(length, "ELOAD")) {
        recall_program();
        say(END);
    } else {
        say("What? " END);
    }
}
