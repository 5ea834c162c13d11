# Three cuts by a hard reset of the whole machine, the journal on another disk. The gadget's storage is /dev/vdc behind
# its own page cache: a true write-behind gadget that loses everything it has not flushed.
#   1  an honest gadget: nothing broken, unflushed writes lost (else the cut would prove nothing); its journal has no end,
#      because the host went down too, so nothing more than that is shown
#   2  a gadget that forgets half a second of what it flushed: broken promises found
#   3  --keep-data: the card's own data restored after the reset
phase=$(cat $results/phase 2>/dev/null || echo 1)
echo $((phase + 1)) >$results/phase
region="--region 0+2Mi"

honest_cut() {
	gadget_plug /dev/vdc
	token "$gadget"
	run never blkassay cut "$gadget" --erase "$token" $region --seconds 4 --seed 11 --cut-with /rig/reset --out $disk/honest.assay
}
honest_check() {
	gadget_plug /dev/vdc
	run 4 blkassay recheck $disk/honest.assay "$gadget"
	says "Not shown: nothing is broken"
	says "the journal has no end"
	promised=$(sed -n 's/^promised by a flush or FUA *\([0-9]*\) .*/\1/p' $out)
	old=$(sed -n 's/.*Of the blocks not promised, \([0-9]*\) are old.*/\1/p' $out)
	note "honest gadget: $promised blocks promised and there, $old not promised and lost"
	between "blocks promised" "$promised" 1 999999
	# The reset must have cost something, else it tested nothing.
	between "blocks not promised and old" "$old" 1 999999
	cp $disk/honest.assay $results/
	gadget_remove
}
forgetful_cut() {
	truncate -s 8M $work/card.img
	gadget_plug $work/card.img
	token "$gadget"
	# What the card gets is the state of half a second ago; every flush since then was a lie.
	printf '#!/bin/sh\ndd if=%s of=/dev/vdc bs=64k conv=fsync 2>/dev/null\nsleep 0.5\n/rig/reset\n' $work/card.img >$work/forget
	chmod +x $work/forget
	run never blkassay cut "$gadget" --erase "$token" $region --seconds 4 --seed 12 --cut-with $work/forget --out $disk/forgetful.assay
}
forgetful_check() {
	dd if=/dev/vdc of=$work/card.img bs=64k count=128 2>/dev/null
	gadget_plug $work/card.img
	run 1 blkassay recheck $disk/forgetful.assay "$gadget"
	note "forgetful gadget: $(head -n 1 $out)"
	says "Data that a flush or a write with FUA promised did not survive"
	gadget_remove
}
kept_cut() {
	dd if=/dev/urandom of=/dev/vdc bs=64k count=64 conv=fsync 2>/dev/null
	head -c 4194304 /dev/vdc | sha256sum >$results/card.sum
	gadget_plug /dev/vdc
	start blkassay sweep "$gadget" --direction write --keep-data --region 0+1Mi --sizes 64Ki --seconds 1 --passes 20 --out $disk/reset-kept.assay
	wait_for 120 grep -q ' pass ' $disk/reset-kept.assay || fail "no pass in two minutes"
	dd if=/dev/vdc of=/dev/null bs=64k count=1 2>/dev/null
	# As bad as it gets: the test's data has reached the card.
	blockdev --flushbufs /dev/vdc
	reset
}
kept_check() {
	head -c 4194304 /dev/vdc | sha256sum >after.sum
	cmp -s after.sum $results/card.sum && fail "the reset came before anything was written"
	gadget_plug /dev/vdc
	run 0 blkassay restore $disk/reset-kept.assay.kept "$gadget"
	run 0 blkassay report $disk/reset-kept.assay
	gadget_remove
	head -c 4194304 /dev/vdc | sha256sum >after.sum
	cmp -s after.sum $results/card.sum || fail "the card's own data is not back"
}
case $phase in
1) honest_cut ;;
2) honest_check && forgetful_cut ;;
3) forgetful_check && kept_cut ;;
4) kept_check ;;
*) fail "more resets than were asked for" ;;
esac
