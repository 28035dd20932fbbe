/* One direction of a serial line, as its level in time, which is counted in cycles of the chip.

   A sender puts frames on it (8N1). A receiver waits for a falling edge and samples the middle of
   each bit at its own speed, so two different speeds garble each other as they do on a wire. */

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define BITS 10 /* 8N1 */
#define MOST_FRAMES 1024

struct frame {
    double start, bit; /* cycles */
    uint8_t byte;
};

struct direction {
    struct frame frames[MOST_FRAMES];
    int count;
    double free;    /* when the sender has finished its last frame */
    double from;    /* the receiver looks for edges from here */
    double edge;    /* start of the frame being received, INFINITY if none */
    bool doomed;    /* ... which will find no room */
};

static bool bit_of(const struct frame *frame, int place) {
    return place == 0 ? false : place == BITS - 1 ? true : frame->byte >> (place - 1) & 1;
}

static double end_of(const struct frame *frame) { return frame->start + BITS * frame->bit; }

static bool level(const struct direction *line, double at) {
    for (int i = 0; i < line->count; i++) {
        const struct frame *frame = &line->frames[i];
        if (at >= frame->start && at < end_of(frame)) {
            return bit_of(frame, (int)((at - frame->start) / frame->bit));
        }
    }
    return true;
}

/* The first moment from `from` on at which the line falls; INFINITY if it does not. */
static double falling_edge(const struct direction *line) {
    for (int i = 0; i < line->count; i++) {
        const struct frame *frame = &line->frames[i];
        for (int place = 0; place < BITS; place++) {
            double at = frame->start + place * frame->bit;
            bool high_before = place == 0 || bit_of(frame, place - 1);
            if (at >= line->from && high_before && !bit_of(frame, place)) {
                return at;
            }
        }
    }
    return INFINITY;
}

static void send_frame(struct direction *line, double now, double bit, uint8_t byte) {
    if (line->count == MOST_FRAMES) {
        fprintf(stderr, "the line is full\n");
        exit(1);
    }
    double start = line->free > now ? line->free : now;
    line->frames[line->count++] = (struct frame){start, bit, byte};
    line->free = start + BITS * bit;
}

static void forget_frames(struct direction *line, double before) {
    int gone = 0;
    while (gone < line->count && end_of(&line->frames[gone]) <= before) {
        gone++;
    }
    line->count -= gone;
    memmove(line->frames, line->frames + gone, line->count * sizeof *line->frames);
}

/* Sample the frame that began at `edge`; returns its byte and whether the stop bit was there. */
static uint8_t sample(struct direction *line, double bit, bool *stopped) {
    uint8_t byte = 0;
    for (int place = 0; place < 8; place++) {
        byte |= level(line, line->edge + (place + 1.5) * bit) << place;
    }
    *stopped = level(line, line->edge + 9.5 * bit);
    line->from = line->edge + 9.5 * bit;
    line->edge = INFINITY;
    forget_frames(line, line->from);
    return byte;
}
