/* The page's style sheet. */
#ifndef REPORT_PAGE_STYLE_H
#define REPORT_PAGE_STYLE_H

extern const char page_style[];

#endif
