/* Runs an ATmega328P program, cycle by cycle, behind a pseudo-terminal.

     runner [--image ADDRESS FILE]... [--start ADDRESS]

   --image puts a raw file into the flash; --start is where the chip begins after a restart (the
   boot section, or 0). The first line on stdout is "port NAME". Then one command a line on stdin:

     run N T      let N cycles pass, or fewer if something reaches the host before; T is how many
                  bytes the host has written so far, which are taken first. Answers "at N given N":
                  cycles since the beginning, bytes given to the host
     pass N T     the same, whatever reaches the host
     restart      pull the chip's reset line; answers "done"
     count        "heard N overrun N dropped N sent N ubrr N double N pc N cpu_ms N": bytes that
                  came to the receiver, bytes lost in it, bytes that the program counted as dropped
                  (GPIOR1, GPIOR2), bytes sent, the baud setting, the address of the next
                  instruction, processor time of this runner
     flash FILE   write the 32 KiB of flash to a file; answers "done"

   It ends with stdin. Time passes only by "run" and "pass", so that nothing depends on how busy the
   computer is: a host that is late is late in real time, never in the chip's.

   The line is modelled by its level in time (line.h). The host's speed is the one set on the
   pseudo-terminal.

   The receiver is the chip's: two bytes can wait, a third stands in the shift register, and what
   starts while it stands there is lost (datasheet 8271H, data overrun). The library's own queue
   of 64 bytes would hide that, so it is not used. */

#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <poll.h>
#include <pty.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>

#include "line.h"

#define CLOCK_HZ 16000000.0
#define SLICE_S 0.001
#define HOST_MS 30000 /* a bound for what the host has written to come through the system */
#define MOST_IMAGES 4

/* Data addresses, datasheet 8271H, register summary. */
enum {
    GPIOR1_ = 0x4A, GPIOR2_ = 0x4B, MCUSR_ = 0x54,
    UCSRA = 0xC0, UCSRB = 0xC1, UBRRL = 0xC4, UBRRH = 0xC5, UDR = 0xC6
};
enum { U2X_ = 1, DOR_ = 3, FE_ = 4, RXEN_ = 4, EXTRF_ = 1 };

static void fail(const char *what) {
    perror(what);
    exit(1);
}

/* --- the chip --- */

static avr_t *chip;
static avr_uart_t *uart;
static struct direction to_chip = {.edge = INFINITY}, to_host = {.edge = INFINITY};
static int terminal;         /* our end */
static double host_bit;      /* cycles */
static uint8_t queue[65536]; /* bytes that the bridge has taken from the host */
static int queued, next_queued;
static unsigned long taken, given;          /* bytes from and to the host */
static unsigned long heard, overrun, begun; /* bytes; begun: by the chip */

static uint8_t waiting[2];   /* the receive buffer */
static int waiting_count;
static int held = -1;        /* a complete byte in the shift register */
static bool wire_timer_lost; /* a reset has removed the timer */

static double chip_bit(void) {
    int divisor = (chip->data[UBRRH] & 0x0F) << 8 | chip->data[UBRRL];
    return (chip->data[UCSRA] >> U2X_ & 1 ? 8 : 16) * (divisor + 1.0);
}

static bool receiver_on(void) { return chip->data[UCSRB] >> RXEN_ & 1; }

static void into_buffer(uint8_t byte) {
    waiting[waiting_count++] = byte;
    avr_raise_interrupt(chip, &uart->rxc);
}

/* A frame has arrived at the chip. */
static void arrived(uint8_t byte, bool stopped) {
    heard++;
    if (!receiver_on() || to_chip.doomed) {
        overrun++;
        if (to_chip.doomed) {
            chip->data[UCSRA] |= 1 << DOR_;
        }
        return;
    }
    if (!stopped) {
        chip->data[UCSRA] |= 1 << FE_;
    }
    if (waiting_count < 2) {
        into_buffer(byte);
    } else {
        held = byte;
    }
}

static uint8_t read_udr(avr_t *avr, avr_io_addr_t address, void *unused) {
    (void)address;
    (void)unused;
    uint8_t byte = waiting[0];
    avr->data[UCSRA] &= ~(1 << DOR_ | 1 << FE_);
    avr_clear_interrupt(avr, &uart->rxc);
    avr_regbit_clear(avr, uart->rxc.raised);
    if (waiting_count) {
        waiting_count--;
        waiting[0] = waiting[1];
    }
    if (held >= 0) {
        waiting[waiting_count++] = held;
        held = -1;
    }
    if (waiting_count) {
        avr_raise_interrupt(avr, &uart->rxc);
    }
    return byte;
}

/* Bring the line to the chip up to `now`. Returns when it wants to be looked at again. */
static double wire_step(double now) {
    for (;;) {
        while (next_queued < queued && to_chip.free <= now) {
            double began = to_chip.free > now - host_bit ? to_chip.free : now;
            send_frame(&to_chip, began, host_bit, queue[next_queued++]);
        }
        if (isinf(to_chip.edge)) {
            double edge = falling_edge(&to_chip);
            if (edge > now) {
                double more = next_queued < queued ? to_chip.free : INFINITY;
                forget_frames(&to_chip, now);
                return edge < more ? edge : more;
            }
            to_chip.edge = edge;
            to_chip.doomed = held >= 0;
        }
        double end = to_chip.edge + 9.5 * chip_bit();
        if (end > now) {
            double more = next_queued < queued ? to_chip.free : INFINITY;
            return end < more ? end : more;
        }
        bool stopped;
        uint8_t byte = sample(&to_chip, chip_bit(), &stopped);
        arrived(byte, stopped);
    }
}

static avr_cycle_count_t wire_timer(avr_t *avr, avr_cycle_count_t when, void *unused) {
    (void)when;
    (void)unused;
    double next = wire_step((double)avr->cycle);
    return isinf(next) ? 0 : (avr_cycle_count_t)ceil(next) + 1;
}

static void start_wire(void) {
    avr_cycle_timer_cancel(chip, wire_timer, NULL);
    avr_cycle_count_t next = wire_timer(chip, chip->cycle, NULL);
    if (next) {
        avr_cycle_count_t wait = next > chip->cycle ? next - chip->cycle : 1;
        avr_cycle_timer_register(chip, wait, wire_timer, NULL);
    }
}

static void chip_sends(avr_irq_t *irq, uint32_t value, void *unused) {
    (void)irq;
    (void)unused;
    send_frame(&to_host, (double)chip->cycle, chip_bit(), (uint8_t)value);
    begun++;
}

/* --- restart --- */

static void (*core_reset)(avr_t *avr);

/* Called by every reset, by the watchdog's too. */
static void on_reset(avr_t *avr) {
    if (core_reset) {
        core_reset(avr);
    }
    waiting_count = 0;
    held = -1;
    wire_timer_lost = true;
}

static void pull_reset(void) {
    avr_reset(chip);
    chip->data[MCUSR_] = 1 << EXTRF_;
}

static void no_sleep(avr_t *avr, avr_cycle_count_t cycles) {
    (void)avr;
    (void)cycles;
}

static void make_chip(uint32_t start) {
    chip = avr_make_mcu_by_name("atmega328p");
    if (!chip) {
        fprintf(stderr, "the library does not know the chip\n");
        exit(1);
    }
    avr_init(chip);
    chip->log = LOG_NONE;
    chip->frequency = (uint32_t)CLOCK_HZ;
    chip->sleep = no_sleep; /* a sleeping processor costs no time here; the pace is kept below */
    chip->codeend = chip->flashend;
    chip->reset_pc = start;
    core_reset = chip->reset;
    chip->reset = on_reset;
    for (avr_io_t *io = chip->io_port; io; io = io->next) {
        if (strcmp(io->kind, "uart") == 0) {
            uart = (avr_uart_t *)io; /* its first member */
        }
    }
    chip->io[AVR_DATA_TO_IO(UDR)].r.c = read_udr;
    avr_irq_register_notify(
        avr_io_getirq(chip, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), chip_sends, NULL);
    pull_reset();
}

static void load_image(const char *address, const char *name) {
    long at = strtol(address, NULL, 0);
    FILE *file = fopen(name, "rb");
    if (!file) {
        fail(name);
    }
    if (at < 0 || at > (long)chip->flashend) {
        fprintf(stderr, "%s is no address in flash\n", address);
        exit(1);
    }
    size_t room = chip->flashend + 1 - at;
    fread(chip->flash + at, 1, room, file);
    if (fgetc(file) != EOF) {
        fprintf(stderr, "%s does not fit into the flash\n", name);
        exit(1);
    }
    fclose(file);
}

static void run_until(avr_cycle_count_t moment) {
    uint32_t plain = 0;
    while (chip->cycle < moment) {
        if (wire_timer_lost) {
            wire_timer_lost = false;
            avr_ioctl(chip, AVR_IOCTL_UART_SET_FLAGS('0'), &plain);
            start_wire();
        }
        int state = avr_run(chip);
        if (state == cpu_Crashed) { /* ran into empty flash */
            pull_reset();
        } else if (state == cpu_Done) { /* sleeps and cannot be woken: only a restart helps */
            chip->cycle = moment;
        }
    }
}

/* --- the host --- */

static double host_baud(void) {
    static const struct { speed_t code; double baud; } speeds[] = {
        {B300, 300}, {B600, 600}, {B1200, 1200}, {B2400, 2400}, {B4800, 4800}, {B9600, 9600},
        {B19200, 19200}, {B38400, 38400}, {B57600, 57600}, {B115200, 115200}, {B230400, 230400},
        {B500000, 500000}, {B1000000, 1000000}};
    struct termios settings;
    if (tcgetattr(terminal, &settings) == 0) {
        for (size_t i = 0; i < sizeof speeds / sizeof *speeds; i++) {
            if (speeds[i].code == cfgetospeed(&settings)) {
                return speeds[i].baud;
            }
        }
    }
    return 9600;
}

/* Take what the host has written: so many bytes in all since the beginning. */
static void take_from_host(unsigned long wanted) {
    memmove(queue, queue + next_queued, queued - next_queued);
    queued -= next_queued;
    next_queued = 0;
    host_bit = CLOCK_HZ / host_baud();
    while (taken < wanted) {
        struct pollfd host = {.fd = terminal, .events = POLLIN};
        ssize_t count = -1;
        if (poll(&host, 1, HOST_MS) > 0) {
            count = read(terminal, queue + queued, sizeof queue - queued);
        }
        if (count <= 0) {
            fail("what the host has written");
        }
        queued += (int)count;
        taken += count;
        start_wire();
    }
}

static void give_to_host(void) {
    double now = (double)chip->cycle;
    for (;;) {
        if (isinf(to_host.edge)) {
            to_host.edge = falling_edge(&to_host);
        }
        if (isinf(to_host.edge) || to_host.edge + 9.5 * host_bit > now) {
            break;
        }
        bool stopped;
        uint8_t byte = sample(&to_host, host_bit, &stopped);
        if (write(terminal, &byte, 1) == 1) {
            given++;
        } else if (errno != EIO) { /* open at no other end is no trouble: nobody listens */
            fail("the pseudo-terminal");
        }
    }
    if (isinf(to_host.edge)) {
        forget_frames(&to_host, now);
    }
}

/* Let time pass, a millisecond at a time, as a bridge hands bytes over. */
static void let_pass(unsigned long cycles, bool whatever) {
    avr_cycle_count_t end = chip->cycle + cycles;
    unsigned long before = given;
    while (chip->cycle < end && (whatever || given == before)) {
        avr_cycle_count_t slice = chip->cycle + (avr_cycle_count_t)(SLICE_S * CLOCK_HZ);
        host_bit = CLOCK_HZ / host_baud();
        run_until(slice < end ? slice : end);
        give_to_host();
    }
}

static void count(void) {
    bool sending = to_host.free > (double)chip->cycle || !isinf(to_host.edge);
    printf("heard %lu overrun %lu dropped %d sent %lu ubrr %d double %d pc %u cpu_ms %ld\n", heard,
           overrun, chip->data[GPIOR2_] << 8 | chip->data[GPIOR1_], begun - sending,
           (chip->data[UBRRH] & 0x0F) << 8 | chip->data[UBRRL], chip->data[UCSRA] >> U2X_ & 1,
           (unsigned)chip->pc, (long)(clock() * 1000.0 / CLOCKS_PER_SEC));
}

static void obey(char *command) {
    unsigned long cycles, written;
    bool whatever = strncmp(command, "pass", 4) == 0;
    if (sscanf(command, whatever ? "pass %lu %lu" : "run %lu %lu", &cycles, &written) == 2) {
        take_from_host(written);
        let_pass(cycles, whatever);
        printf("at %llu given %lu\n", (unsigned long long)chip->cycle, given);
    } else if (strcmp(command, "restart") == 0) {
        pull_reset();
        printf("done\n");
    } else if (strcmp(command, "count") == 0) {
        count();
    } else if (strncmp(command, "flash ", 6) == 0) {
        FILE *file = fopen(command + 6, "wb");
        if (!file || fwrite(chip->flash, 1, chip->flashend + 1, file) != chip->flashend + 1) {
            fail(command + 6);
        }
        fclose(file);
        printf("done\n");
    } else {
        printf("what is \"%s\"?\n", command);
    }
    fflush(stdout);
}

int main(int count_, char **words) {
    uint32_t start = 0;
    const char *images[MOST_IMAGES][2];
    int images_count = 0;
    for (int i = 1; i < count_;) {
        if (i + 2 < count_ && strcmp(words[i], "--image") == 0 && images_count < MOST_IMAGES) {
            images[images_count][0] = words[i + 1];
            images[images_count++][1] = words[i + 2];
            i += 3;
        } else if (i + 1 < count_ && strcmp(words[i], "--start") == 0) {
            start = (uint32_t)strtol(words[i + 1], NULL, 0);
            i += 2;
        } else {
            fprintf(stderr, "use: runner [--image ADDRESS FILE]... [--start ADDRESS]\n");
            return 2;
        }
    }
    make_chip(start);
    for (int i = 0; i < images_count; i++) {
        load_image(images[i][0], images[i][1]);
    }
    int other;
    char name[64];
    struct termios raw = {0};
    cfmakeraw(&raw);
    raw.c_cflag = CS8 | CREAD | CLOCAL;
    cfsetspeed(&raw, B9600);
    if (openpty(&terminal, &other, name, &raw, NULL) || fcntl(terminal, F_SETFL, O_NONBLOCK)) {
        fail("no pseudo-terminal");
    }
    close(other); /* a host that looks who else holds its port must find nobody */
    printf("port %s\n", name);
    fflush(stdout);
    char command[4096];
    while (fgets(command, sizeof command, stdin)) {
        command[strcspn(command, "\n")] = 0;
        obey(command);
    }
    return 0;
}
