/* Balancer board: accelerometer and once-per-rev mark on one clock, sent as "balancer stream 1". MIT licence.
 *
 * ATmega328P at 16 MHz. Accelerometer of the ADXL345 class on SPI (select D10, data in D11, data out D12, clock D13),
 * its INT1 on D2 (INT0). Pick-up through a comparator or Schmitt trigger on D8 (ICP1). Serial on D0/D1.
 *
 *     avr-gcc -mmcu=atmega328p -O2 -Wall -Wextra -o board.elf balancer_board.c
 *
 * What must be right, and where it is done:
 *   - a mark is stamped by the timer's capture unit, not by software, and counted there: capture interrupt
 *   - a sample is stamped in the interrupt of its block's LAST sample, before anything is read: INT0 interrupt
 *   - both stamps come from one clock, so its error cancels in the phase
 *   - nothing is lost unsaid: whatever is made takes a number, whether it can be sent or not
 * The interrupts stamp, count and send bytes; the main loop reads a block, frames it and puts it into the ring.
 * Commands: ? hello, b binary, t text, 1 2 3 = 800 1600 3200 samples a second.
 */
#ifndef F_CPU
#define F_CPU 16000000UL
#endif
#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/delay.h>

#include "stream.h"

#ifndef BAUD
#define BAUD 500000UL /* divides 16 MHz without rest; 115200 is 2.1 % off, and too slow for 1600 Hz */
#endif
#ifndef START_RATE
#define START_RATE 1 /* 0, 1, 2: 800, 1600, 3200 Hz */
#endif
#ifndef START_TEXT
#define START_TEXT 0
#endif
#ifndef MARK_RISING
#define MARK_RISING 1 /* which edge of the pick-up is shaft angle 0; part of the set-up, and said in the hello */
#endif
#ifndef T_HI0
#define T_HI0 0 /* upper half of the clock at power-up; 0xFFD0 makes it roll over after 1.6 s, for trials */
#endif

#if F_CPU != 16000000UL
#error "the clock of the stamps and the baud rate are worked out for 16 MHz"
#endif
#define TICK_HZ 2000000UL
#define BLOCK 16        /* samples a record: 7 bytes a sample on the line instead of 22, half of the sensor's FIFO */
#define FULL_SCALE 4095 /* counts */
#define HELLO_ROOM 480u /* its longest form, rounded up */
#define MARKS 16u       /* marks that can wait: 0.1 s at 9000 rpm; a power of two */

enum { BW_RATE = 0x2C, POWER_CTL, INT_ENABLE, INT_MAP, INT_SOURCE, DATA_FORMAT, DATAX0, FIFO_CTL = 0x38 };
enum { OVERRUN = 0x01, WATERMARK = 0x02 };                                   /* in INT_SOURCE and INT_ENABLE */
enum { FLAG_OVERRAN = 1, FLAG_FULL_SCALE = 2, FLAG_FAULT = 8 };              /* in an A record */

static volatile uint16_t clock_high = T_HI0;
static volatile uint32_t block_tick, mark_count;
static volatile uint8_t block_ready, command, marks_in, marks_out;
static volatile uint16_t marks_lost;
static struct { uint32_t index, tick; } mark_queue[MARKS];

static uint8_t rate = START_RATE, restarts, hello_due;
static uint8_t trouble, unbroken, alive; /* flags for the next block; no loss since the last one; blocks come at all */
static uint16_t boots, overruns, records_lost;
static uint32_t sample_count, last_tick, block_span;
static int16_t block[BLOCK][3];

/* ---- the clock: timer 1 at 0.5 us, widened to 32 bit, and what it stamps ---- */

/* With interrupts off an overflow may be waiting: then a small count belongs to the next round already. */
static inline uint32_t widen(uint16_t low) {
    uint16_t high = clock_high;
    if ((TIFR1 & _BV(TOV1)) && low < 0x8000u) high++;
    return ((uint32_t)high << 16) | low;
}

static uint32_t now(void) {
    uint32_t tick = 0;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { tick = widen(TCNT1); }
    return tick;
}

ISR(TIMER1_OVF_vect) { clock_high++; }

ISR(INT0_vect) { /* the 16th sample has just come */
    block_tick = widen(TCNT1);
    block_ready = 1;
}

ISR(TIMER1_CAPT_vect) { /* the hardware has kept the tick of the edge: being late here costs nothing */
    uint32_t index = mark_count, tick = widen(ICR1);
    mark_count = index + 1; /* counted even if there is no place: the gap in the index shows the loss */
    if ((uint8_t)(marks_in - marks_out) == MARKS) {
        marks_lost++;
        return;
    }
    mark_queue[marks_in % MARKS].index = index;
    mark_queue[marks_in % MARKS].tick = tick;
    marks_in++;
}

/* ---- the line ---- */

static void wake_line(void) { UCSR0B |= _BV(UDRIE0); }

ISR(USART_UDRE_vect) {
    uint16_t tail = ring_tail;
    UDR0 = ring[tail];
    tail = (tail + 1) & (RING - 1);
    ring_tail = tail;
    if (tail == ring_head) UCSR0B &= (uint8_t)~_BV(UDRIE0); /* with the last byte, not one empty interrupt later */
}

ISR(USART_RX_vect) { command = UDR0; }

/* ---- records ---- */

static void finish(void) {
    end();
    if (!commit()) records_lost++;
}

static void message(const char *words_in_flash) {
    open(0);
    begin('E');
    if (text) put(',');
    say(words_in_flash);
    finish();
}

/* The sid must change whenever the counters restart, or two segments would be joined into one. Its upper part counts
 * power-ups in the EEPROM (good for 100,000), its lower part restarts since then. A counter cannot repeat by chance, as
 * the contents of uninitialised memory or the noise of an open input could. */
static uint8_t hello(void) {
    open(0);
    if (room < HELLO_ROOM) return 0; /* before it has taken a sequence number */
    if (text) say(PSTR("# balancer stream 1\n# "));
    else begin('H');
    say(PSTR("{\"board\":\"ATmega328P\",\"sensor\":\"ADXL345\",\"firmware\":\"1\",\"sid\":"));
    decimal(((uint32_t)boots << 8) | restarts);
    say(PSTR(",\"rate_hz\":"));
    decimal(800u << rate);
    say(PSTR(",\"lowpass_hz\":"));
    decimal(400u << rate);
    say(PSTR(",\"axes\":[\"x\",\"y\",\"z\"],\"unit\":\"m/s^2\",\"scale\":0.0383072"));
    if (!text) { /* two packets, each below 253 bytes */
        end();
        begin('H');
    }
    say(PSTR(",\"full_scale\":4095,\"bits\":13,\"tick_hz\":2000000,\"tick_bits\":32,\"stamp\":\"irq\","
             "\"mark_stamp\":\"capture\",\"marks_per_rev\":1,\"check\":\"crc16\",\"mark_edge\":"));
    say(MARK_RISING ? PSTR("\"rising\"}") : PSTR("\"falling\"}"));
    if (text) raw('\n');
    else end();
    return commit();
}

static void status(void) {
    uint32_t marks = 0;
    uint16_t lost = 0;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        marks = mark_count;
        lost = marks_lost;
    }
    open(0);
    begin('S');
    number(now(), 4);
    number(sample_count, 4);
    number(marks, 2);
    number(overruns, 2);
    number(records_lost, 2);
    number(lost, 2);
    finish();
}

static void send_marks(void) {
    while (marks_out != marks_in) {
        open(0);
        begin('M');
        number(mark_queue[marks_out % MARKS].index, 2);
        number(mark_queue[marks_out % MARKS].tick, 4);
        finish();
        marks_out++; /* last: until now the capture interrupt must not use the place again */
    }
}

static void send_text(uint32_t tick) {
    for (uint8_t i = 0; i < BLOCK; i++) {
        open(RESERVED);
        begin('A');
        number(sample_count + i, 4);
        /* only the last one's edge was stamped; the others are laid evenly between two interrupts */
        number(tick - (block_span * (BLOCK - 1 - i) + BLOCK / 2) / BLOCK, 4);
        for (uint8_t axis = 0; axis < 3; axis++) reading(block[i][axis]);
        finish();
    }
}

static void send_binary(uint32_t tick) {
    for (uint8_t i = 0; i < BLOCK * 3; i++)
        if (block[i / 3][i % 3] >= FULL_SCALE || block[i / 3][i % 3] < -FULL_SCALE) trouble |= FLAG_FULL_SCALE;
    open(RESERVED);
    begin('A');
    number(sample_count, 4);
    number(tick, 4);
    put(trouble);
    put(BLOCK);
    for (uint8_t i = 0; i < BLOCK * 3; i++) reading(block[i / 3][i % 3]);
    finish();
}

/* ---- the sensor: SPI mode 3 at 4 MHz, FIFO in stream mode, line high while 16 or more are in it ---- */

static void chip_select(uint8_t on) {
    if (on) PORTB &= (uint8_t)~_BV(PB2);
    else PORTB |= _BV(PB2);
}

static uint8_t spi(uint8_t byte) {
    SPDR = byte;
    while (!(SPSR & _BV(SPIF))) {}
    return SPDR;
}

static uint8_t sensor(uint8_t address, uint8_t value) { /* write; with 0x80 in the address, read */
    chip_select(1);
    spi(address);
    value = spi(value);
    chip_select(0);
    return value;
}

/* Empty the FIFO and arm the edge: the next rising edge of the line is then the 16th sample from here. */
static void refill(void) {
    sensor(FIFO_CTL, 0);
    sensor(FIFO_CTL, 0x80 | BLOCK);
    block_ready = 0;
    unbroken = 0;
    EIFR = _BV(INTF0);
    EIMSK = _BV(INT0);
}

static void start_sensor(void) {
    sensor(BW_RATE, 0x0D + rate);
    sensor(DATA_FORMAT, 0x0B); /* +-16 g, full resolution */
    sensor(INT_MAP, 0);
    sensor(INT_ENABLE, WATERMARK);
    refill();
    sensor(POWER_CTL, 0x08);
}

static void lose(uint8_t flags) { /* samples were lost, nobody knows how many: say so and begin with a fresh FIFO */
    overruns++;
    trouble |= FLAG_OVERRAN | flags;
    refill();
}

/* New counters, new sid, hello first: two rates under one sid would end in one fit. */
static void restart(void) {
    EIMSK = 0;
    sensor(POWER_CTL, 0);
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        mark_count = 0;
        marks_lost = 0;
        marks_out = marks_in;
    }
    sample_count = block_span = 0;
    trouble = overruns = records_lost = 0;
    restarts++;
    while (!hello()) {} /* the sensor stands still: waiting for room loses nothing */
    start_sensor();
}

/* Pop exactly one block. A sample that comes in meanwhile may lift the FIFO over the watermark once more, an edge that
 * is not the 16th sample of anything: so what INT0 has stamped until the block is out does not count. */
static void pop_block(void) {
    for (uint8_t i = 0; i < BLOCK; i++) {
        _delay_us(5); /* the sensor needs that long between two pops to move its FIFO on */
        chip_select(1);
        spi(0xC0 | DATAX0); /* read, several bytes */
        for (uint8_t axis = 0; axis < 3; axis++) {
            uint8_t low = spi(0);
            block[i][axis] = (int16_t)(low | (uint16_t)spi(0) << 8);
        }
        chip_select(0);
    }
    _delay_us(5);
    block_ready = 0;
}

static void take_block(void) {
    uint32_t tick = block_tick; /* before the block is out INT0 cannot come again */
    if (sensor(0x80 | INT_SOURCE, 0) & OVERRUN) {
        lose(0);
        return;
    }
    pop_block();
    if (unbroken) block_span = tick - last_tick;
    last_tick = tick;
    unbroken = alive = 1;
    if (block_span) { /* the first block of all only tells the spacing: the nominal rate can be percents off */
        text ? send_text(tick) : send_binary(tick);
        sample_count += BLOCK; /* also when a record found no room: the gap in the index shows it */
        trouble = 0;
    }
    if (PIND & _BV(PD2)) { /* 16 more are waiting: fine if their edge was seen, too late if it was not */
        _delay_us(1);      /* an edge that comes just now has its interrupt first */
        if (!block_ready) lose(0);
    }
}

/* ---- the person's side ---- */

static void change_form(uint8_t to_text) {
    if (text == to_text) return;
    text = to_text;
    open(0);
    raw(text ? '\n' : 0); /* ends whatever a reader of the new form made of the old one */
    commit();
    restart();
}

static void obey(uint8_t key) {
    if (key == '?') hello_due = 1;
    else if (key == 'b' || key == 't') change_form(key == 't');
    else if (key >= '1' && key <= '3') {
        rate = key - '1';
        restart();
    } else if (key > ' ') message(PSTR("commands: ? hello, b binary, t text, 1 2 3 = 800 1600 3200 Hz"));
}

static void every_second(void) {
    static uint8_t seconds;
    if (!alive) {
        message(PSTR("no samples come: check the sensor's power, its SPI lines and INT1 on D2"));
        start_sensor();
        lose(FLAG_FAULT);
    }
    alive = 0;
    status();
    if (++seconds % 5 == 0) hello_due = 1;
}

static void set_up(void) {
    boots = eeprom_read_word((const uint16_t *)0) + 1;
    eeprom_update_word((uint16_t *)0, boots);
    text = START_TEXT;
    PORTB = _BV(PB0) | _BV(PB2);                         /* pull-up on the pick-up's input; sensor not selected */
    DDRB = _BV(PB2) | _BV(PB3) | _BV(PB5);               /* select, data to the sensor, clock */
    SPCR = _BV(SPE) | _BV(MSTR) | _BV(CPOL) | _BV(CPHA); /* mode 3, 16 MHz / 4; the sensor allows 5 MHz */
    UCSR0A = _BV(U2X0); /* before the divider: a half-set baud rate must not be used for a moment */
    UBRR0 = (F_CPU + BAUD * 4) / (BAUD * 8) - 1;
    UCSR0B = _BV(TXEN0) | _BV(RXEN0) | _BV(RXCIE0);
    EICRA = _BV(ISC01) | _BV(ISC00); /* rising edge */
    TIMSK1 = _BV(ICIE1) | _BV(TOIE1);
    TCCR1B = _BV(ICNC1) | (MARK_RISING ? _BV(ICES1) : 0) | _BV(CS11); /* noise canceller (4 cycles), clock / 8 */
}

int main(void) {
    set_up();
    _delay_ms(20); /* the sensor's own start */
    sei();
    restart();
    for (uint32_t second = now();;) {
        uint8_t key = command;
        command = 0;
        if (key) obey(key);
        if (block_ready) take_block();
        send_marks();
        if (hello_due && hello()) hello_due = 0;
        if (now() - second >= TICK_HZ) {
            second += TICK_HZ;
            every_second();
        }
    }
}
