/* A test bench for the reference firmware: an ATmega328P in libsimavr with a shaft, a sensor and a line around it.
 *
 * SPDX-License-Identifier: GPL-3.0-or-later
 * This program is linked to libsimavr, which is GPL version 3 or later, and is therefore itself free software under
 * the GNU General Public License, version 3 or (at your option) any later version; it comes without any warranty; see
 * <https://www.gnu.org/licenses/>. It is a test program of its own: neither the firmware nor the package contains,
 * includes or links any part of it, and both stay under their own licence (MIT).
 *
 * The bytes that the board sends go to standard output (or to a pseudo terminal, --pty LINK). What was injected and
 * what happened goes to the file of --truth as JSON, in units of 0.5 us ticks of the board's own clock, so that a
 * test can compare without any second clock.
 *
 * Shaft: theta(t) = 2 pi (start + f t + ramp t^2 / 2), start from 0 to 1, a mark at every whole turn.
 * Signal: x = A cos(theta - lag) + A/4 cos(2 theta - 1 rad), y = A/2 cos(theta - lag - 90 deg), z = 1 g + A/10
 * cos(theta - lag); each axis with white noise and rounded to the sensor's steps.
 */
#define _GNU_SOURCE
#include <fcntl.h>
#include <math.h>
#include <poll.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include "avr_eeprom.h"
#include "avr_ioport.h"
#include "avr_spi.h"
#include "avr_uart.h"
#include "sim_avr.h"
#include "sim_elf.h"

#define CPU_HZ 16000000.0
#define CYCLES_A_TICK 8
#define COUNTS_PER_G 256.0
#define FIFO 32
enum { SPCR_IO = 0x4C, SPSR_IO, SPDR_IO, TCCR1B_IO = 0x81 }; /* data-space addresses in the ATmega328P */

static struct options {
    const char *firmware, *truth, *pty;
    double rpm, ramp, start_turns, rate_error, amplitude, lag, noise, seconds, unplug_at, plug_at;
    unsigned seed;
    int boots, real_time;
} set = {.rpm = 6000, .amplitude = 0.5, .lag = 30, .seconds = 4, .unplug_at = 1e9, .plug_at = 1e9, .seed = 1, .boots = -1};

static struct { double at; const char *keys; } sends[16];
static int send_count;

static avr_t *avr;
static FILE *truth;
static int line = STDOUT_FILENO;
static avr_cycle_count_t timer_start;
static unsigned long bytes_sent, bytes_dropped, marks_made, lines_made;

/* ---- time and noise ---- */

static double seconds_now(void) { return avr->cycle / CPU_HZ; }
static double ticks_of(double cycles) { return (cycles - timer_start) / CYCLES_A_TICK; }

static double uniform(void) { /* xorshift: the same everywhere, so that two runs are equal to the bit */
    static unsigned long long state;
    if (!state) state = 0x9E3779B97F4A7C15ull * (set.seed + 1ull);
    state ^= state << 13;
    state ^= state >> 7;
    state ^= state << 17;
    return ((state >> 11) + 0.5) / 9007199254740992.0;
}

static double normal(void) { return sqrt(-2 * log(uniform())) * cos(2 * M_PI * uniform()); }

/* ---- shaft ---- */

static double turns_at(double t) { return set.start_turns + set.rpm / 60 * t + set.ramp / 60 * t * t / 2; }

static double time_of(double turns) {
    double f = set.rpm / 60, r = set.ramp / 60;
    turns -= set.start_turns;
    return r == 0 ? turns / f : (sqrt(f * f + 2 * r * turns) - f) / r;
}

/* ---- pins ---- */

/* simavr evaluates a whole port at every write to it, and an input without a declared level then snaps to its pull-up:
 * the sensor's select pin is on the port of the pick-up, so edges came up to 4.8 ms late. Declaring the level just
 * before each edge cures it. */
static void set_pin(char port, int pin, int level) {
    static avr_ioport_external_t external[128];
    avr_ioport_external_t *e = &external[(int)port];
    e->name = port;
    e->mask |= 1u << pin;
    e->value = (e->value & ~(1u << pin)) | (unsigned)level << pin;
    avr_ioctl(avr, AVR_IOCTL_IOPORT_SET_EXTERNAL(port), e);
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(port), pin), level);
}

static avr_cycle_count_t mark_edge(avr_t *a, avr_cycle_count_t when, void *param) {
    static unsigned long edge = 2; /* two edges a turn: reflection begins at 0, ends at a tenth of a turn */
    (void)a, (void)when, (void)param;
    set_pin('B', 0, edge % 2 == 0);
    if (edge % 2 == 0) {
        double cycles = time_of(edge / 2) * CPU_HZ;
        if (timer_start && truth) fprintf(truth, "%s%.3f", marks_made ? "," : "", ticks_of(cycles));
        marks_made += timer_start != 0;
    }
    edge++;
    return (avr_cycle_count_t)ceil(time_of(edge / 2 + (edge % 2) * 0.1) * CPU_HZ);
}

/* ---- sensor: registers, FIFO, watermark line; as the data sheet of the ADXL345 tells it ---- */

static struct {
    uint8_t reg[64], address, tx_count, reading, popped, overrun;
    int16_t fifo[FIFO][3];
    int held, line;
    double next;     /* cycle of the next sample */
    unsigned long made, lost, too_soon;
    avr_cycle_count_t last_pop;
    double first_tick, period; /* of the samples since measuring began */
} sensor;

static int unplugged(void) { return seconds_now() >= set.unplug_at && seconds_now() < set.plug_at; }

static double sample_rate(void) { return 3200.0 / (1 << (15 - (sensor.reg[0x2C] & 15))) * (1 + set.rate_error); }

static void update_line(void) {
    int watermark = sensor.held >= (sensor.reg[0x38] & 31) && (sensor.reg[0x38] >> 6) == 2;
    int level = watermark && (sensor.reg[0x2E] & 2);
    if (level == sensor.line) return;
    sensor.line = level;
    lines_made += level;
    set_pin('D', 2, level);
}

static void measure(double cycles, int16_t out[3]) {
    double t = cycles / CPU_HZ, theta = 2 * M_PI * turns_at(t), lag = set.lag * M_PI / 180, a = set.amplitude;
    double g[3] = {a * cos(theta - lag) + a / 4 * cos(2 * theta - 1), a / 2 * cos(theta - lag - M_PI / 2),
                   1 + a / 10 * cos(theta - lag)};
    /* at 1600 and 3200 Hz the lowest bit of the real part is always 0 (data sheet rev. E, p. 32) */
    double step = (sensor.reg[0x2C] & 15) >= 0x0E ? 2 : 1;
    double sd = set.noise * sqrt(sample_rate() / 2);
    for (int i = 0; i < 3; i++) {
        double count = step * nearbyint((g[i] + sd * normal()) * COUNTS_PER_G / step);
        out[i] = (int16_t)fmax(-4096, fmin(4095, count));
    }
}

static avr_cycle_count_t sample(avr_t *a, avr_cycle_count_t when, void *param) {
    (void)a, (void)when, (void)param;
    if (!(sensor.reg[0x2D] & 8)) return 0;
    int16_t value[3];
    measure(sensor.next, value);
    sensor.made++;
    if ((sensor.reg[0x38] >> 6) == 2) {
        if (sensor.held == FIFO) { /* stream mode: the oldest goes */
            memmove(sensor.fifo[0], sensor.fifo[1], sizeof sensor.fifo - sizeof sensor.fifo[0]);
            sensor.held--;
            sensor.lost++;
            sensor.overrun = 1;
        }
        memcpy(sensor.fifo[sensor.held++], value, sizeof value);
        update_line();
    }
    sensor.next += CPU_HZ / sample_rate();
    return (avr_cycle_count_t)ceil(sensor.next);
}

static void sensor_write(uint8_t address, uint8_t value) {
    int was_on = sensor.reg[0x2D] & 8;
    sensor.reg[address & 63] = value;
    if (address == 0x38 && value >> 6 == 0) sensor.held = sensor.overrun = 0;
    if (address == 0x2D && (value & 8) && !was_on) {
        sensor.period = CPU_HZ / sample_rate();
        /* on a grid of 50 ms and not in step with the shaft: text and binary then see the very same samples */
        sensor.next = ceil((avr->cycle / CPU_HZ + 0.0011) / 0.05) * 0.05 * CPU_HZ + sensor.period * uniform();
        sensor.first_tick = ticks_of(sensor.next);
        avr_cycle_timer_register(avr, (avr_cycle_count_t)ceil(sensor.next) - avr->cycle, sample, NULL);
    } else if (address == 0x2D && !(value & 8)) {
        avr_cycle_timer_cancel(avr, sample, NULL);
    }
    update_line();
}

static uint8_t sensor_read(uint8_t address) {
    if (address == 0x30) return (uint8_t)(0x80 * (sensor.held > 0) | 2 * sensor.line | sensor.overrun);
    if (address == 0x39) return (uint8_t)sensor.held;
    if (address < 0x32 || address > 0x37) return sensor.reg[address & 63];
    if (address == 0x32) {
        sensor.popped = 1;
        if (avr->cycle < sensor.last_pop + 80) sensor.too_soon++; /* 5 us between two pops */
    }
    int byte = address - 0x32;
    return (uint8_t)((uint16_t)sensor.fifo[0][byte / 2] >> 8 * (byte % 2));
}

static uint8_t sensor_byte(uint8_t in) {
    if (unplugged()) { /* without power it forgets everything */
        memset(&sensor.reg, 0, sizeof sensor.reg);
        sensor.held = 0;
        update_line();
        return 0;
    }
    if (sensor.tx_count++ == 0) {
        sensor.reading = in & 0x80;
        sensor.address = in & 63;
        return 0;
    }
    uint8_t out = sensor.reading ? sensor_read(sensor.address) : 0;
    if (!sensor.reading) sensor_write(sensor.address, in);
    sensor.address++;
    return out;
}

static void chip_selected(avr_irq_t *irq, uint32_t level, void *param) {
    (void)irq, (void)param;
    if (level && sensor.popped && sensor.held) { /* the data go when the reading ends */
        memmove(sensor.fifo[0], sensor.fifo[1], sizeof sensor.fifo - sizeof sensor.fifo[0]);
        sensor.held--;
        sensor.last_pop = avr->cycle;
        sensor.overrun = 0;
        update_line();
    }
    if (level) sensor.tx_count = sensor.popped = 0;
}

/* simavr's own SPI takes about 100 us a byte whatever the divider, and a sensor at 3200 Hz starves. So the data
 * register is taken over: a byte takes 8 divider periods, as in the real part. */
static avr_cycle_count_t spi_done(avr_t *a, avr_cycle_count_t when, void *param) {
    (void)when, (void)param;
    a->data[SPSR_IO] |= 0x80;
    return 0;
}

static void spi_write(avr_t *a, avr_io_addr_t address, uint8_t value, void *param) {
    static const int divider[8] = {4, 16, 64, 128, 2, 8, 32, 64};
    (void)address, (void)param;
    a->data[SPSR_IO] &= 0x7F;
    a->data[SPDR_IO] = sensor_byte(value);
    avr_cycle_timer_register(a, 8 * divider[(a->data[SPSR_IO] & 1) << 2 | (a->data[SPCR_IO] & 3)], spi_done, NULL);
}

static uint8_t spi_read(avr_t *a, avr_io_addr_t address, void *param) {
    (void)param;
    a->data[SPSR_IO] &= 0x7F;
    return a->data[address];
}

/* ---- line ----
 * Three more of simavr's ways: the baud rate is worked out when the low byte of the divider is written, so the firmware
 * sets U2X0 first; a byte takes 11 bit times where a real line takes 10, so the line is judged 10 % too slow; and an
 * "empty" interrupt that is switched off one interrupt late is forgiven by real parts only, so the firmware switches it
 * off together with the last byte. */

static void byte_out(avr_irq_t *irq, uint32_t value, void *param) {
    static unsigned char buffer[4096];
    static size_t used;
    (void)irq, (void)param;
    if (value <= 0xFF) {
        buffer[used++] = (unsigned char)value;
        bytes_sent++;
    }
    if (used < (set.pty ? 64 : sizeof buffer) && value <= 0xFF) return; /* a value above 0xFF asks to flush */
    for (size_t done = 0; done < used;) {
        struct pollfd ready = {line, POLLOUT, 0};
        /* in real time a reader that stops loses data, as on a real line; else the bench waits for it */
        ssize_t n = poll(&ready, 1, set.real_time ? 0 : 5000) == 1 ? write(line, buffer + done, used - done) : -1;
        if (n <= 0) {
            bytes_dropped += used - done;
            break;
        }
        done += (size_t)n;
    }
    used = 0;
}

static void byte_in(unsigned char byte) {
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT), byte);
}

static avr_cycle_count_t send_keys(avr_t *a, avr_cycle_count_t when, void *param) {
    const char **keys = param;
    (void)a;
    if (**keys) byte_in((unsigned char)*(*keys)++);
    return **keys ? when + (avr_cycle_count_t)(0.02 * CPU_HZ) : 0;
}

static avr_cycle_count_t watch_line(avr_t *a, avr_cycle_count_t when, void *param) {
    static struct timespec begin;
    unsigned char key;
    (void)a, (void)param;
    struct pollfd ready = {line, POLLIN, 0};
    if (poll(&ready, 1, 0) == 1 && (ready.revents & POLLIN) && read(line, &key, 1) == 1) byte_in(key);
    if (set.real_time) {
        struct timespec now;
        clock_gettime(CLOCK_MONOTONIC, &now);
        if (!begin.tv_sec) begin = now;
        double ahead = seconds_now() - (now.tv_sec - begin.tv_sec) - (now.tv_nsec - begin.tv_nsec) * 1e-9;
        if (ahead > 0) usleep((useconds_t)(ahead * 1e6));
        byte_out(NULL, 0x100, NULL);
    }
    return when + (avr_cycle_count_t)(0.005 * CPU_HZ);
}

static void open_pty(void) {
    line = posix_openpt(O_RDWR | O_NOCTTY);
    if (line < 0 || grantpt(line) || unlockpt(line)) exit(3);
    struct termios raw;
    int slave = open(ptsname(line), O_RDWR | O_NOCTTY); /* opened and closed once, so that POLLHUP tells of a reader */
    tcgetattr(slave, &raw);
    cfmakeraw(&raw);
    tcsetattr(slave, TCSANOW, &raw);
    close(slave);
    if (symlink(ptsname(line), set.pty)) exit(3);
    for (int i = 0; i < 2000; i++) { /* until somebody reads; ten seconds at most */
        struct pollfd reader = {line, POLLIN, 0};
        poll(&reader, 1, 0);
        if (!(reader.revents & POLLHUP)) return;
        usleep(5000);
    }
    fprintf(stderr, "nobody opened %s\n", set.pty);
    exit(3);
}

/* ---- the run ---- */

static void timer_written(avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq, (void)param;
    if (value & 7) timer_start = avr->cycle;
}

static void log_errors(avr_t *a, const int level, const char *format, va_list ap) {
    (void)a;
    if (level <= LOG_ERROR) vfprintf(stderr, format, ap);
}

static void preset_eeprom(void) {
    uint8_t boots[2] = {(uint8_t)set.boots, (uint8_t)(set.boots >> 8)};
    avr_eeprom_desc_t cells = {boots, 0, 2};
    if (set.boots >= 0) avr_ioctl(avr, AVR_IOCTL_EEPROM_SET, &cells);
}

static unsigned boots_kept(void) { /* what the board would find at its next power-up */
    uint8_t cells[2];
    avr_eeprom_desc_t wanted = {cells, 0, 2};
    avr_ioctl(avr, AVR_IOCTL_EEPROM_GET, &wanted);
    return cells[0] | cells[1] << 8;
}

static void connect_all(void) {
    uint32_t flags = 0;
    avr->io[AVR_DATA_TO_IO(SPDR_IO)].w.c = spi_write;
    avr->io[AVR_DATA_TO_IO(SPDR_IO)].r.c = spi_read;
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), 2), chip_selected, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), byte_out, NULL);
    avr_irq_register_notify(avr_iomem_getirq(avr, TCCR1B_IO, NULL, AVR_IOMEM_IRQ_ALL), timer_written,
                            NULL);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags); /* neither echo to the console nor sleep on polling */
    /* the pick-up's pin would be high from reset through its pull-up, and the first edge not seen */
    set_pin('B', 0, 0);
    set_pin('D', 2, 0);
    avr_cycle_timer_register(avr, (avr_cycle_count_t)ceil(time_of(1) * CPU_HZ), mark_edge, NULL);
    for (int i = 0; i < send_count; i++)
        avr_cycle_timer_register(avr, (avr_cycle_count_t)(sends[i].at * CPU_HZ), send_keys, &sends[i].keys);
    if (set.pty) avr_cycle_timer_register(avr, 16000, watch_line, NULL);
}

static double value_of(int argc, char **argv, int *i) {
    if (*i + 1 >= argc) exit(2);
    return atof(argv[++*i]);
}

static void read_options(int argc, char **argv) {
    struct { const char *name; double *place; } numbers[] = {
        {"--rpm", &set.rpm},         {"--ramp", &set.ramp},   {"--start-turns", &set.start_turns}, {"--rate-error", &set.rate_error},
        {"--amplitude", &set.amplitude}, {"--lag", &set.lag}, {"--noise", &set.noise},
        {"--seconds", &set.seconds}, {"--unplug-at", &set.unplug_at}, {"--plug-at", &set.plug_at}};
    for (int i = 1; i < argc; i++) {
        size_t k = 0, count = sizeof numbers / sizeof *numbers;
        while (k < count && strcmp(argv[i], numbers[k].name)) k++;
        if (k < count) *numbers[k].place = value_of(argc, argv, &i);
        else if (!strcmp(argv[i], "--seed")) set.seed = (unsigned)value_of(argc, argv, &i);
        else if (!strcmp(argv[i], "--boots")) set.boots = (int)value_of(argc, argv, &i);
        else if (!strcmp(argv[i], "--real-time")) set.real_time = 1;
        else if (!strcmp(argv[i], "--truth") && i + 1 < argc) set.truth = argv[++i];
        else if (!strcmp(argv[i], "--pty") && i + 1 < argc) set.pty = argv[++i];
        else if (!strcmp(argv[i], "--send") && i + 1 < argc && send_count < 16) { /* seconds:keys */
            sends[send_count].at = atof(argv[++i]);
            sends[send_count++].keys = strchr(argv[i], ':') ? strchr(argv[i], ':') + 1 : "";
        } else if (argv[i][0] != '-') set.firmware = argv[i];
        else exit(fprintf(stderr, "unknown option %s\n", argv[i]) ? 2 : 2);
    }
}

int main(int argc, char **argv) {
    elf_firmware_t code = {0};
    read_options(argc, argv);
    avr_global_logger_set(log_errors);
    if (!set.firmware || elf_read_firmware(set.firmware, &code)) exit(2);
    if (set.truth && !(truth = fopen(set.truth, "w"))) exit(2);
    if (set.pty) open_pty();
    avr = avr_make_mcu_by_name("atmega328p");
    avr_init(avr);
    avr_load_firmware(avr, &code);
    avr->frequency = (uint32_t)CPU_HZ;
    preset_eeprom();
    connect_all();
    if (truth) fprintf(truth, "{\"marks\":[");
    while (seconds_now() < set.seconds) {
        int state = avr_run(avr);
        if (state == cpu_Done || state == cpu_Crashed) exit(4);
    }
    byte_out(NULL, 0x100, NULL);
    if (truth) {
        fprintf(truth, "],\"timer_start\":%llu,\"first_sample\":%.3f,\"sample_ticks\":%.9f,\"made\":%lu,\"lost\":%lu,",
                (unsigned long long)timer_start, sensor.first_tick, sensor.period / CYCLES_A_TICK, sensor.made,
                sensor.lost);
        fprintf(truth, "\"held\":%d,\"popped_too_soon\":%lu,\"watermarks\":%lu,\"bytes\":%lu,\"dropped\":%lu,\"boots\":%u}\n",
                sensor.held, sensor.too_soon, lines_made, bytes_sent, bytes_dropped, boots_kept());
        fclose(truth);
    }
    if (set.pty) {
        sleep(1); /* what is still in the terminal goes to the reader */
        unlink(set.pty);
    }
    return 0;
}
