# The drive goes away in the middle of a sweep: exit 3, one line that says so, and a record that can be read.
truncate -s 8M card.img

long() {
	start blkassay sweep "$gadget" --sizes 4Ki,64Ki --seconds 0.5 --passes 40 --seed 3 --out "$1"
	# Not before a few passes are in the record.
	wait_for 120 sh -c "[ \$(grep -c ' pass ' $1) -ge 3 ]" || fail "no passes in two minutes"
}
readable() {
	run 0 blkassay report "$1"
	says "B/s"
	run 0 blkassay report "$1" --csv "$1.csv"
	[ "$(grep -c . "$1.csv")" -ge 4 ] || fail "the CSV has lost finished passes"
	grep -q ' end .*status=failed' "$1" || fail "the record does not say how the run ended"
}

gadget_plug $work/card.img
long unplugged.assay
gadget_unplug
finish 3
says "is gone"
is "lines on stderr about it" "$(grep -c '^blkassay: ' $err)" 1
note "unplugged: $(grep '^blkassay: ' $err)"
readable unplugged.assay

gadget_replug
long ejected.assay
gadget_swap ""
finish 3
note "ejected: $(grep '^blkassay: ' $err)"
readable ejected.assay
