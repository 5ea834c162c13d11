/* What the bus between gadget and card can carry: an upper bound of the card's rate. */
#ifndef ANALYSIS_CARD_BUS_H
#define ANALYSIS_CARD_BUS_H

struct error;

struct card_bus {
	double read,
		write; /* B/s of whole blocks, no gap between them, a card that is never busy */
};

/* "spi:20MHz", "sd1:25MHz", "sd4:50MHz", "sd4ddr:50MHz", "mmc8:52MHz". 0, or -1 with *err.
 * SPI: 512 bytes in 515 (read: token, CRC16) or 516 (write: data response too): SD Physical Layer Simplified
 * Specification 4.10 sections 7.2, 7.3. Wider buses: start bit, data, 16 clocks of CRC, end bit (section 4.3; double
 * data rate from memory). */
int card_bus_parse(struct card_bus *bus, const char *text, struct error *err);

#endif
