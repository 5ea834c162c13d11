# blkassay: build, test, check. GNU make.
#
#   make              build/blkassay
#   make check        unit tests, then end-to-end tests of the binary
#   make lint         warnings as errors, cppcheck, clang-tidy, clang-format, man pages
#   make sanitize     the same tests built with ASan and UBSan
#   make bench        performance ratios, measured side by side (never part of the tests)
#   make truth        is what is said so? gadgets whose truth another program works out (FULL=1: all of them)
#   make faults       every library call failing in turn (FULL=1: with every error)
#   make rig          scenarios on a USB gadget in an emulated machine
#   make kill-campaign  kill -9 at 200 random moments of --keep-data runs, then restore (root)
#   make mishaps      targets renamed, replaced, put under loop devices at 200 moments of every writing command (root)
#   make fuzz         fuzzing of every parser, FUZZ_SECONDS=10 each
#   make install      PREFIX=/usr/local DESTDIR=; make uninstall takes it away again
#   make dist         a source archive of what is committed
#   make man          bring the man pages into step with the tables of commands, options, codes and keys
#   make check-browser   look at report pages in headless Chromium
#
# Knobs: CC=clang, V=1 shows commands, QUIET=1 shows nothing but errors, TEST='pattern' runs matching end-to-end tests only,
#        RIG='name...' runs these scenarios of the rig only,
#        UNIT=suite runs one unit suite, O=dir builds elsewhere, DEVELOPER=1 turns warnings into errors.

VERSION  := 0.1.0
O        ?= build
PREFIX   ?= /usr/local
BINDIR   ?= $(PREFIX)/bin
MANDIR   ?= $(PREFIX)/share/man
MODELDIR ?= $(PREFIX)/share/blkassay/models
BASHDIR  ?= $(PREFIX)/share/bash-completion/completions
ZSHDIR   ?= $(PREFIX)/share/zsh/site-functions
FISHDIR  ?= $(PREFIX)/share/fish/vendor_completions.d
Q        := $(if $(V),,@)

CFLAGS   ?= -O2 -g
# A function that no header declares would be taken to return int: never a mere warning.
WARNINGS := -Werror=implicit-function-declaration -Werror=int-conversion \
            -Wall -Wextra -Wconversion -Wsign-compare -Wshadow -Wmissing-prototypes -Wstrict-prototypes \
            -Wvla -Wpointer-arith -Wwrite-strings -Wformat=2 -Wundef
# Whole numbers have their names from enums here, and are counted with as any other constant; newer clang minds.
ifneq (,$(findstring clang,$(CC)))
WARNINGS += -Wno-enum-float-conversion
endif
ifeq ($(DEVELOPER),1)
WARNINGS += -Werror
endif
ALL_CPPFLAGS = -D_GNU_SOURCE -D_FILE_OFFSET_BITS=64 -DBLKASSAY_VERSION='"$(VERSION)"' -Isrc $(CPPFLAGS)
ALL_CFLAGS   = -std=c17 -pthread $(WARNINGS) $(SANITIZE) $(CFLAGS)
LIBS         = -lz -lm

# Everything but main goes into one archive, which the tests link too.
SRC      := $(sort $(wildcard src/*/*.c))
OBJ      := $(SRC:%.c=$(O)/%.o)
MAIN     := $(O)/src/main.o
UNIT_SRC := $(sort $(wildcard tests/unit/*.c))
SUP_SRC  := $(sort $(wildcard tests/support/*.c))
UNIT_OBJ := $(UNIT_SRC:%.c=$(O)/%.o) $(SUP_SRC:%.c=$(O)/%.o)
HDR      := $(sort $(wildcard src/*/*.h tests/*/*.h))

all: $(O)/blkassay

# The judge and the generator are the hot loops: they are built for speed whatever CFLAGS says.
HOT      := $(O)/src/integrity/stream.o $(O)/src/integrity/stamp.o $(O)/src/base/random.o
$(HOT): private HOT_CFLAGS := $(if $(SANITIZE),,-O3)

$(O)/%.o: %.c
	@mkdir -p $(@D)
	$(if $(V)$(QUIET),,@echo "  CC      $<")
	$(Q)$(CC) $(ALL_CPPFLAGS) $(ALL_CFLAGS) $(HOT_CFLAGS) -MMD -MP -c -o $@ $<

$(O)/libblkassay.a: $(OBJ)
	$(if $(V)$(QUIET),,@echo "  AR      $@")
	$(Q)rm -f $@ && $(AR) rcs $@ $^

$(O)/blkassay: $(MAIN) $(O)/libblkassay.a
	$(if $(V)$(QUIET),,@echo "  LINK    $@")
	$(Q)$(CC) $(ALL_CFLAGS) $(LDFLAGS) -o $@ $^ $(LIBS)

# The unit runner's list of suites: one per file in tests/unit.
$(O)/tests/suites.inc: $(UNIT_SRC) Makefile
	@mkdir -p $(@D)
	$(Q)for f in $(notdir $(UNIT_SRC:.c=)); do echo "SUITE($$f)"; done > $@

$(O)/tests/runner.o: tests/runner.c $(O)/tests/suites.inc
	@mkdir -p $(@D)
	$(Q)$(CC) $(ALL_CPPFLAGS) -I$(O)/tests -Itests $(ALL_CFLAGS) -MMD -MP -c -o $@ $<

$(UNIT_OBJ): ALL_CPPFLAGS += -Itests
$(UNIT_SRC:%.c=$(O)/%.o): WARNINGS += -Wno-missing-prototypes

$(O)/unit: $(O)/tests/runner.o $(UNIT_OBJ) $(O)/libblkassay.a
	$(if $(V)$(QUIET),,@echo "  LINK    $@")
	$(Q)$(CC) $(ALL_CFLAGS) $(LDFLAGS) -o $@ $^ $(LIBS) $(shell pkg-config --libs check)

check: check-unit check-cli

check-unit: $(O)/unit
	$(Q)CK_DEFAULT_TIMEOUT=$(or $(CK_DEFAULT_TIMEOUT),600) $(if $(UNIT),CK_RUN_SUITE=$(UNIT) $(O)/unit, \
		tests/run-unit $(O)/unit $(notdir $(UNIT_SRC:.c=)))

check-cli: $(O)/blkassay $(O)/bench/describe_record $(O)/bench/make_record $(O)/bench/loop_limit $(O)/bench/loop_change $(O)/bench/fit_of \
		$(O)/tests/slow.so $(O)/tests/at_open.so $(O)/tests/step.so $(O)/tests/fault.so $(O)/tests/mishap.so
	$(Q)BLKASSAY=$(abspath $(O)/blkassay) tests/run-cli $(TEST)

sanitize:
	$(Q)+$(MAKE) --no-print-directory check O=build-sanitize CFLAGS='-O1 -g -fno-omit-frame-pointer' \
		SANITIZE='-fsanitize=address,undefined -fno-sanitize-recover=all' SANITIZED=1

lint:
	$(Q)scripts/lint

# One program for each file in tests/bench.
BENCH_BIN := $(patsubst tests/bench/%.c,$(O)/bench/%,$(wildcard tests/bench/*.c))
$(O)/bench/%: $(O)/tests/bench/%.o $(O)/libblkassay.a
	@mkdir -p $(@D)
	$(Q)$(CC) $(ALL_CFLAGS) $(LDFLAGS) -o $@ $^ $(LIBS)

# The gadget on the rig's emulated bus.
GADGET_SRC := $(sort $(wildcard tests/gadget/*.c))
$(GADGET_SRC:%.c=$(O)/%.o): ALL_CPPFLAGS += -Itests
$(O)/rig-bin/bus_gadget: $(GADGET_SRC:%.c=$(O)/%.o) $(O)/libblkassay.a
	@mkdir -p $(@D)
	$(if $(V),,@echo "  LINK    $@")
	$(Q)$(CC) $(ALL_CFLAGS) $(LDFLAGS) -o $@ $^ $(LIBS)

# Does the tool say what is so? FULL=1: the whole grid, which goes into results/truth.txt (SEED=1); TRUTH=name: that part alone.
truth: $(O)/blkassay
	$(Q)BLKASSAY=$(abspath $(O)/blkassay) python3 tests/truth/truth.py $(if $(FULL),--full) $(if $(TRUTH),--only $(TRUTH)) \
		--seed $(or $(SEED),1) $(if $(FULL),>results/truth.txt && cat results/truth.txt)

fuzz:
	$(Q)scripts/fuzz $(or $(FUZZ_SECONDS),10)

bench: $(O)/blkassay $(BENCH_BIN)
	$(Q)O=$(O) scripts/bench

# Fault injection: a library that makes the n-th call of a kind fail, and the driver that goes through them all.
$(O)/tests/fault.so: tests/shim/fault.c tests/shim/kinds.h
	@mkdir -p $(@D)
	$(Q)$(CC) -D_GNU_SOURCE -Itests -std=c17 $(filter-out -Wmissing-prototypes,$(WARNINGS)) -O2 -g -fPIC -shared -o $@ $<

$(O)/tests/fault-leaks.so: tests/shim/fault.c tests/shim/kinds.h
	@mkdir -p $(@D)
	$(Q)$(CC) -D_GNU_SOURCE -DFAULT_NO_MEMORY -Itests -std=c17 $(filter-out -Wmissing-prototypes,$(WARNINGS)) -O2 -g -fPIC -shared -o $@ $<

# Libraries to preload. slow gives requests a known time: for scripts/fit-campaign and the test of the fit; step moves the
# clock; at_open lets something happen in the moment before a file is opened.
$(O)/tests/%.so: tests/slow/%.c
	@mkdir -p $(@D)
	$(Q)$(CC) -D_GNU_SOURCE -D_FILE_OFFSET_BITS=64 -std=c17 $(filter-out -Wmissing-prototypes,$(WARNINGS)) -O2 -g -fPIC -shared -o $@ $<

# A library that lets a mishap happen at the n-th request: for scripts/mishap-campaign.
$(O)/tests/mishap.so: tests/mishap/mishap.c
	@mkdir -p $(@D)
	$(Q)$(CC) -D_GNU_SOURCE -std=c17 $(filter-out -Wmissing-prototypes,$(WARNINGS)) -O2 -g -fPIC -shared -o $@ $<

SHIM_SRC := $(filter-out tests/shim/fault.c,$(sort $(wildcard tests/shim/*.c)))
$(O)/tests/fault-driver: $(SHIM_SRC) $(wildcard tests/shim/*.h)
	@mkdir -p $(@D)
	$(Q)$(CC) $(ALL_CPPFLAGS) -Itests -DFAULT_MODELS='"$(abspath scripts/models)"' $(ALL_CFLAGS) -o $@ $(SHIM_SRC)

faults: $(O)/blkassay $(O)/tests/fault.so $(O)/tests/fault-driver
	$(Q)scripts/fault-sweep $(if $(FULL),-f) $(O) $(FAULTS)

# The same with a leak checker, on a sample and without failing memory: slow, by hand, needs valgrind.
fault-leaks: $(O)/blkassay $(O)/tests/fault-leaks.so
	$(Q)scripts/fault-leaks $(O)

# What scenarios of the rig need beside the tool: one program for each file in tests/rig.
RIG_BIN := $(patsubst tests/rig/%.c,$(O)/rig-bin/%,$(wildcard tests/rig/*.c))
$(O)/rig-bin/%: tests/rig/%.c
	@mkdir -p $(@D)
	$(Q)$(CC) $(ALL_CPPFLAGS) $(ALL_CFLAGS) $(LDFLAGS) -o $@ $<

# One that is preloaded.
$(O)/rig-bin/%.so: tests/rig/%.so.c
	@mkdir -p $(@D)
	$(Q)$(CC) $(ALL_CPPFLAGS) $(ALL_CFLAGS) -shared -fPIC $(LDFLAGS) -o $@ $<

rig-tools: $(O)/blkassay $(O)/bench/bare_reads $(RIG_BIN) $(O)/rig-bin/bus_gadget $(O)/tests/mishap.so
rig: rig-tools
	$(Q)scripts/rig/run -b $(O)/blkassay $(or $(RIG),all)

mishaps: $(O)/blkassay $(O)/tests/mishap.so
	$(Q)BLKASSAY=$(abspath $(O)/blkassay) MISHAP=$(abspath $(O)/tests/mishap.so) scripts/mishap-campaign $(or $(MOMENTS),200) $(SEED)

kill-campaign: $(O)/blkassay
	$(Q)BLKASSAY=$(abspath $(O)/blkassay) scripts/kill-campaign $(or $(MOMENTS),200)

# The tables of commands and options rule part of the man page; see scripts/update-man.
man: $(O)/blkassay $(O)/bench/describe_record
	$(Q)for page in man/blkassay.1 man/blkassay-json.5; do \
		scripts/update-man $< $$page >$$page.new && mv $$page.new $$page || exit 1; done
	$(Q)for page in man/blkassay-record.5 man/blkassay-journal.5; do \
		scripts/update-record-pages $(O)/bench/describe_record $$page >$$page.new && \
		mv $$page.new $$page || exit 1; done
	$(Q)scripts/json-contract $< | LC_ALL=C sort -u - tests/data/json_contract >tests/data/json_contract.new && \
		mv tests/data/json_contract.new tests/data/json_contract

$(O)/completion/%: $(O)/blkassay
	@mkdir -p $(@D)
	$(Q)$< help --completion $* >$@

MAN1 := $(wildcard man/*.1)
MAN5 := $(wildcard man/*.5)
MAN7 := $(wildcard man/*.7)
MODELS := $(wildcard scripts/models/*.model)

install: $(O)/blkassay $(O)/completion/bash $(O)/completion/zsh $(O)/completion/fish
	install -d $(DESTDIR)$(BINDIR) $(DESTDIR)$(MODELDIR) $(addprefix $(DESTDIR)$(MANDIR)/,man1 man5 man7)
	install -m 755 $(O)/blkassay $(DESTDIR)$(BINDIR)/blkassay
	install -m 644 $(MODELS) $(DESTDIR)$(MODELDIR)/
	install -m 644 $(MAN1) $(DESTDIR)$(MANDIR)/man1/
	install -m 644 $(MAN5) $(DESTDIR)$(MANDIR)/man5/
	install -m 644 $(MAN7) $(DESTDIR)$(MANDIR)/man7/
	install -D -m 644 $(O)/completion/bash $(DESTDIR)$(BASHDIR)/blkassay
	install -D -m 644 $(O)/completion/zsh $(DESTDIR)$(ZSHDIR)/_blkassay
	install -D -m 644 $(O)/completion/fish $(DESTDIR)$(FISHDIR)/blkassay.fish

uninstall:
	rm -f $(DESTDIR)$(BINDIR)/blkassay
	rm -f $(MAN1:man/%=$(DESTDIR)$(MANDIR)/man1/%) $(MAN5:man/%=$(DESTDIR)$(MANDIR)/man5/%) \
		$(MAN7:man/%=$(DESTDIR)$(MANDIR)/man7/%)
	rm -f $(MODELS:scripts/models/%=$(DESTDIR)$(MODELDIR)/%)
	-rmdir $(DESTDIR)$(MODELDIR) $(dir $(DESTDIR)$(MODELDIR)) 2>/dev/null
	rm -f $(DESTDIR)$(BASHDIR)/blkassay $(DESTDIR)$(ZSHDIR)/_blkassay $(DESTDIR)$(FISHDIR)/blkassay.fish

# What is committed, as one archive that builds by itself.
dist:
	@mkdir -p $(O)
	$(Q)git archive --format=tar.gz --prefix=blkassay-$(VERSION)/ -o $(O)/blkassay-$(VERSION).tar.gz HEAD
	@echo $(O)/blkassay-$(VERSION).tar.gz

check-browser: $(O)/blkassay
	$(Q)BLKASSAY=$(abspath $(O)/blkassay) tests/browser/run

clean:
	rm -rf build build-sanitize build-lint build-clang build-fuzz

-include $(GADGET_SRC:%.c=$(O)/%.d) $(OBJ:.o=.d) $(MAIN:.o=.d) $(UNIT_OBJ:.o=.d) $(O)/tests/runner.d \
	$(BENCH_BIN:$(O)/bench/%=$(O)/tests/bench/%.d)

.PHONY: all truth kill-campaign mishaps check check-unit check-cli check-browser man dist sanitize lint fuzz bench faults fault-leaks rig rig-tools install uninstall clean
.DELETE_ON_ERROR:
.SECONDARY:
