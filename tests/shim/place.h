/* Where the target of a job is: an image file, a loop device, or one that must be refused. Loop devices go away with this
 * process, however it ends. */
#ifndef SHIM_PLACE_H
#define SHIM_PLACE_H

#include <stdbool.h>
#include <stddef.h>

enum { CARD_BYTES = 512 * 1024 };

enum place {
	PLACE_IMAGE, /* card.img */
	PLACE_LOOP, /* a loop device of our own */
	PLACE_HELD_IMAGE, /* the file below a loop device */
	PLACE_HELD, /* a loop device with another one on it */
	PLACE_BESIDE, /* a loop device with another one on half of its file */
	PLACE_ALIAS, /* a loop device on a loop device */
	PLACE_TWIN /* a loop device, while another one has the same token */
};

/* Once, before anything else. False: needs root and loop devices, which are not here. */
bool place_make(enum place p);

const char *place_target(void); /* the path that stands for "@" in a job's words */
const char *place_token(void); /* "@token" */

/* Puts a card with data into the place, the same each time; whether it still is that; and one block of zeros on it. */
void place_fill(void);
bool place_is_filled(void);
void place_damage(size_t block);

#endif
