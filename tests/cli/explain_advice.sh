# Advice names what limits, with its numbers. Rates are common practice for a full-speed gadget, no source.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1

# 270 kB/s at every size where link and card would give 500 kB/s one after the other: one sector at a time.
run 0 "$make_record" flat.assay 5 12 150 270e3 0.01 1 write
run 0 "$BLKASSAY" explain flat.assay --link 1.0MB/s --card-write 1.0MB/s
tells "What limits writes: 765 us to 874 us of work per sector, 40 to 46 % of a 4 KiB write, if the link really carries 1.00 MB/s and the card writes 1.00 MB/s. Next: hand whole requests to the card"
tells "Without it 4 KiB writes would reach 444 kB/s to 491 kB/s (now 267 kB/s)"
# Without the rates of link and card that is only one of four readings.
run 0 "$BLKASSAY" explain flat.assay
tells "the link, the card, work per sector or link and card taking turns; these figures can't tell which. Next, to tell them apart:"
tells "--card-write"

# 1 MB/s link, 1.7 MB/s card, one after the other: 630 kB/s; overlapped in sectors 4096 B take 4.397 ms, 932 kB/s.
run 0 "$make_record" turn.assay 5 12 1 629.6e3 0.01 2 read
run 0 "$BLKASSAY" explain turn.assay --link 1.0MB/s --card-read 1.7MB/s
tells "What limits reads: link and card taking turns, 32 % of a 4 KiB read, if the link really carries 1.00 MB/s and the card reads 1.70 MB/s."
tells "Without it 4 KiB reads would reach 932 kB/s (now 630 kB/s)"
# Without the link's rate it may be the link, and that must be measured.
run 0 "$BLKASSAY" explain turn.assay --card-read 1.7MB/s
tells "the link or link and card taking turns, if the card really reads 1.70 MB/s; these figures can't tell which"
tells "measured, not assumed"
# A bus instead of a card: 20 MHz on one line carries 2.49 MB/s.
run 0 "$BLKASSAY" explain turn.assay --link 1.0MB/s --card-bus spi:20MHz
tells "2.49 MB/s"
tells "only what its bus can carry"

# 1.17 MB/s through a link said to carry 1.0.
run 0 "$make_record" frame.assay 5 12 2600 1.17e6 0.005 3 read
run 0 "$BLKASSAY" explain frame.assay --link 1.0MB/s --card-read 1.7MB/s
tells "not shown, as requests of this run take less time per byte than the link's 1.00 MB/s allows"
tells "--link is too low"

# Near the table's ceiling: the firmware is done.
run 0 "$make_record" fast.assay 5 12 110 1.21e6 0.002 4 read
run 0 "$BLKASSAY" explain fast.assay
tells "the link, 97 to 100 %"
tells "Only a faster link would give much more"

# 10 ms a request.
run 0 "$make_record" fixed.assay 5 12 10000 1.0e6 0.01 5 read
run 0 "$BLKASSAY" explain fixed.assay
tells "the host's pause between requests, 68 to 71 % of a 4 KiB read; these figures can't tell which."
tells "sweep with --in-flight 2"

# Answers before the card has it.
run 0 "$make_record" behind.assay 5 12 500 1.0e6 0.01 6 write flush_ms=200
run 0 "$BLKASSAY" explain behind.assay
tells "the target writes behind"
tells "the closing flush took 200 ms"

# Too little to tell.
run 0 "$make_record" few.assay 5 3 500 1.0e6 0.01 7 read
run 0 "$BLKASSAY" explain few.assay
tells "3 request sizes cannot tell fixed cost from streaming rate"
says_not "streaming rate              "
run 0 "$make_record" wild.assay 2 5 500 1.0e6 1.5 8 read
run 0 "$BLKASSAY" explain wild.assay
tells "is not determined by these passes"
