/* Records of "balancer stream 1", text or binary, into a ring that an interrupt empties. MIT licence.
 *
 * Nothing here knows of the sensor or the pick-up; a port to another board keeps this file and replaces the two places
 * that are the processor's own: ATOMIC_BLOCK (interrupts off for a moment) and PROGMEM (constants left in flash).
 *
 * Use: open(), then begin(type), number()..., end() once or more, then commit(). A record is built behind the head of
 * the ring and becomes visible as a whole or not at all: a reader never sees half a record because the line was slow.
 */
#ifndef STREAM_H
#define STREAM_H

#include <avr/pgmspace.h>
#include <stdint.h>
#include <util/atomic.h>

#define RING 1024u    /* a power of two */
#define RESERVED 512u /* of it, kept from samples: hello, marks and status still fit when the line is too slow */

static uint8_t ring[RING];
static volatile uint16_t ring_head, ring_tail; /* the line's interrupt moves the tail, commit() the head */
static uint8_t text;                           /* form: 0 binary, 1 text */

static uint16_t at, room;     /* where the next byte goes, how many still fit */
static uint16_t crc, code_at; /* of the record being built; where its COBS code byte stands */
static uint8_t run, fits, sequence;

static void wake_line(void); /* the board's: start sending, if it does not already */

static void open(uint16_t kept_free) {
    uint16_t tail = 0, free;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { tail = ring_tail; }
    at = ring_head;
    free = (tail - at - 1) & (RING - 1);
    room = free > kept_free ? free - kept_free : 0;
    fits = 1;
}

static uint8_t commit(void) {
    if (!fits) return 0;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        ring_head = at;
        wake_line();
    }
    return 1;
}

static void raw(uint8_t byte) {
    if (!room) {
        fits = 0;
        return;
    }
    ring[at] = byte;
    at = (at + 1) & (RING - 1);
    room--;
}

static void close_run(void) { /* COBS: the code byte says how far it is to the next zero */
    if (fits) ring[code_at] = run;
    code_at = at;
    run = 1;
}

/* One byte of a record. CRC-16: polynomial 0x1021, from 0xFFFF, not reflected; "123456789" gives 29B1. */
static void put(uint8_t byte) {
    crc = (crc >> 8) | (crc << 8);
    crc ^= byte;
    crc ^= (crc & 0xFF) >> 4;
    crc ^= crc << 12;
    crc ^= (crc & 0xFF) << 5;
    if (!text && byte == 0) close_run();
    else run++; /* never reaches 255: packets stay below 253 bytes */
    raw(byte);
}

static void begin(char type) {
    crc = 0xFFFF;
    if (text) {
        put(type | 0x20); /* small letter */
        return;
    }
    code_at = at;
    run = 1;
    raw(0); /* place of the first code byte */
    put(type);
    put(sequence++); /* counts what is made: one that is not sent leaves a gap */
}

static void end(void) {
    uint16_t sum = crc;
    if (text) {
        raw('*');
        for (int8_t shift = 12; shift >= 0; shift -= 4) raw("0123456789ABCDEF"[(sum >> shift) & 15]);
        raw('\n');
    } else {
        put(sum >> 8);
        put(sum & 0xFF);
        close_run();
        raw(0);
    }
}

/* Subtracting powers of ten is several times quicker than dividing on a processor without a divider. */
static void decimal(uint32_t value) {
    static const uint32_t powers[] PROGMEM = {1000000000, 100000000, 10000000, 1000000, 100000,
                                              10000,      1000,      100,      10};
    uint8_t started = 0;
    for (uint8_t i = 0; i < sizeof powers / sizeof *powers; i++) {
        uint32_t power = pgm_read_dword(&powers[i]);
        uint8_t digit = '0';
        if (!started && value < power) continue;
        for (; value >= power; digit++) value -= power;
        put(digit);
        started = 1;
    }
    put('0' + (uint8_t)value);
}

/* A number of a record in either form: so many bytes, lowest first, or a comma and digits. */
static void number(uint32_t value, uint8_t bytes) {
    if (text) {
        put(',');
        decimal(value);
        return;
    }
    for (; bytes; bytes--, value >>= 8) put(value & 0xFF);
}

static void reading(int16_t value) { /* the same for a signed count of the sensor */
    if (!text || value >= 0) {
        number((uint16_t)value, 2);
        return;
    }
    put(',');
    put('-');
    decimal((uint16_t)-value);
}

static void say(const char *words_in_flash) {
    for (char c; (c = (char)pgm_read_byte(words_in_flash)) != 0; words_in_flash++) put((uint8_t)c);
}

#endif
