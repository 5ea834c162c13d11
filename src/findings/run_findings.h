/* What any run's record says about itself, whatever the kind of run. */
#ifndef FINDINGS_RUN_FINDINGS_H
#define FINDINGS_RUN_FINDINGS_H

#include "findings/finding.h"

struct run;

/* Kept data that is not back, modelled, and without knowing what, an image file, no end, interrupted, ended early, lines damaged: what of it applies. */
void run_findings_add(struct findings *f, const struct run *run);

extern const struct finding_code run_finding_codes[];
extern const size_t run_finding_code_count;

#endif
