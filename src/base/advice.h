/* What to do about a failure, by what the target is: a model has neither cable nor kernel log, a loop device no plug. Each is
 * an order without a full stop, which ", then ..." may follow. */
#ifndef BASE_ADVICE_H
#define BASE_ADVICE_H

#include <stdbool.h>

/* `transport`: usb, mmc, loop, file, model, ...; as the target's traits and its record have it. */
const char *advice_gone(const char *transport);
const char *advice_another(const char *transport);
/* Whether it can leave at any moment: an image cannot, nor a model by anybody's hand; a loop device stands for a drive. */
bool advice_has_plug(const char *transport);
/* Errors that the kernel counted, or that came back as EIO. */
const char *advice_errors(bool modelled);

#endif
