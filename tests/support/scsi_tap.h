/* A medium whose SCSI answers a test changes: everything goes through to another medium, and the test's function sees each
 * SCSI command after it was answered. */
#ifndef SUPPORT_SCSI_TAP_H
#define SUPPORT_SCSI_TAP_H

#include "medium/medium.h"
#include "medium/scsi.h"
#include "medium/scsi_sense.h"

typedef void scsi_tap_change(void *context, struct scsi_exchange *x);

/* Takes over `inner`. */
struct medium *scsi_tap_new(struct medium *inner, scsi_tap_change *change, void *context);

/* And this one sees each before it is sent. */
void scsi_tap_before(struct medium *tap, scsi_tap_change *before);

/* Ends the command with CHECK CONDITION and this sense, fixed format. */
void scsi_tap_fail(struct scsi_exchange *x, enum scsi_sense_key key, uint16_t code, bool deferred);

#endif
