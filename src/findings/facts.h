/* What was tested on what: the facts at the head of a summary and of a page. */
#ifndef FINDINGS_FACTS_H
#define FINDINGS_FACTS_H

struct run;
struct view;

/* As the record has them. */
void facts_add(struct view *v, const struct run *run);

#endif
