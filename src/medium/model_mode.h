/* What a modelled gadget says of itself: INQUIRY data, vital product data, mode pages. SPC-4, SBC-3. */
#ifndef MEDIUM_MODEL_MODE_H
#define MEDIUM_MODEL_MODE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "medium/model_spec.h"

void model_mode_inquiry(const struct model_spec *s, uint8_t out[36]);
/* Page 00h or 80h; the number of bytes, 0 for a page it does not have. */
size_t model_mode_vital_page(const struct model_spec *s, uint8_t page, uint8_t out[64]);
/* MODE SENSE(10) or (6): header and page 08h, 3Fh, or none; 0 for a page it does not have. */
size_t model_mode_sense(
	const struct model_spec *s, bool ten, uint8_t page, bool changeable, uint8_t out[64]);

#endif
