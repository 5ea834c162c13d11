# Two cuts by a hard reset of the whole machine, the journal on another disk. The gadget's storage is /dev/vdc behind
# its own page cache: a true write-behind gadget that loses everything it has not flushed.
#   1  an honest gadget: nothing broken, unflushed writes lost (else the cut would prove nothing); its journal has no end,
#      because the host went down too, so nothing more than that is shown. Beside it a run with --keep-data on the stick,
#      which the same reset ends: the stick's own data is restored
#   2  a gadget that forgets half a second of what it flushed: broken promises found
phase=$(cat $results/phase 2>/dev/null || echo 1)
echo $((phase + 1)) >$results/phase
region="--region 0+2Mi"

honest_cut() {
	kept_run
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
own_data() { head -c 1048576 "$stick" | sha256sum; }
# Long enough to be in the middle of it when the machine goes.
kept_run() {
	stick
	dd if=/dev/urandom of="$stick" bs=64k count=16 conv=fsync 2>/dev/null
	own_data >$results/card.sum
	blkassay sweep "$stick" --direction write --keep-data --region 0+512Ki --sizes 64Ki --seconds 1 --passes 1000 --out $disk/reset-kept.assay >kept.out 2>&1 </dev/null &
	wait_for 120 grep -q ' pass ' $disk/reset-kept.assay || fail "no pass in two minutes: $(cat kept.out)"
}
kept_check() {
	stick
	own_data >after.sum
	cmp -s after.sum $results/card.sum && fail "the reset came before anything was written"
	run 0 blkassay restore $disk/reset-kept.assay.kept "$stick"
	run 0 blkassay report $disk/reset-kept.assay
	own_data >after.sum
	cmp -s after.sum $results/card.sum || fail "the stick's own data is not back"
}
case $phase in
1) honest_cut ;;
2) honest_check && kept_check && forgetful_cut ;;
3) forgetful_check ;;
*) fail "more resets than were asked for" ;;
esac
