# Advice names what limits, with its numbers. Rates are common practice for a full-speed gadget, no source.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1

# 270 kB/s at every size where link and card would give 500 kB/s: one sector at a time.
run 0 "$make_record" flat.assay 5 12 150 270e3 0.01 1 write
run 0 "$BLKASSAY" explain flat.assay --link 1.0MB/s --card-write 1.0MB/s
tells "one sector at a time"
tells "500 kB/s"
tells "slower than one after the other"
# Without the card's own rate that is only one of two readings.
run 0 "$BLKASSAY" explain flat.assay
tells "or the card itself is that slow"
tells "--card-write"

# 1 MB/s link, 1.7 MB/s card, one after the other: 630 kB/s.
run 0 "$make_record" turn.assay 5 12 1 629.6e3 0.01 2 read
run 0 "$BLKASSAY" explain turn.assay --link 1.0MB/s --card-read 1.7MB/s
tells "one after the other 630 kB/s"
tells "overlapped 1.00 MB/s"
tells "Overlapping them would give up to 1.00 MB/s"
# The link's ceiling instead of a measurement: told.
run 0 "$BLKASSAY" explain turn.assay --card-read 1.7MB/s
tells "must be measured, not assumed"
# A bus instead of a card: 20 MHz on one line carries 2.49 MB/s.
run 0 "$BLKASSAY" explain turn.assay --link 1.0MB/s --card-bus spi:20MHz
tells "2.49 MB/s"
tells "only what its bus can carry"

# 2.6 ms and 3.5 ms for 4 KiB: 671 kB/s, just under 6 frames of 1 ms. Not blamed on the card without a warning.
run 0 "$make_record" frame.assay 5 12 2600 1.17e6 0.005 3 read
run 0 "$BLKASSAY" explain frame.assay --link 1.0MB/s --card-read 1.7MB/s
tells "683 kB/s"
tells "host's scheduling and not the card"
tells "The verdict on the stages hangs on the link rate"

# Near the table's ceiling: the firmware is done.
run 0 "$make_record" fast.assay 5 12 110 1.21e6 0.002 4 read
run 0 "$BLKASSAY" explain fast.assay
tells "most this link can carry"

# 10 ms a request.
run 0 "$make_record" fixed.assay 5 12 10000 1.0e6 0.01 5 read
run 0 "$BLKASSAY" explain fixed.assay
tells "is fixed cost"

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
