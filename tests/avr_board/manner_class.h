/* The manner CLASS: lines as typed, words of our own for every mistake. */

static uint8_t longest_line(void) { return LONGEST_LINE; }

static bool ends_line(uint8_t byte) { return byte == '\r'; }

static bool is_text(uint8_t byte) { return byte >= 32 && byte < 127; }

static const uint8_t *pack(uint8_t *text, uint8_t *length) {
    (void)length;
    return text;
}

static void show(const uint8_t *held, uint8_t length) {
    while (length--) {
        put(*held++);
    }
}

static void say_full(uint16_t missing) {
    say("no: ");
    say_number(missing);
    say(" bytes short" END);
}

static void direct(uint8_t length) {
    if (is(length, "LIST")) {
        list();
    } else if (is(length, "NEW")) {
        used = 0;
    } else if (is(length, "PRINTROOM()")) {
        put(' ');
        say_number(PROGRAM_BYTES - used);
        say(END);
    } else if (is(length, "RUN")) {
        say("no: this board only keeps programs" END);
    } else {
        say("no: not a command" END);
    }
}
