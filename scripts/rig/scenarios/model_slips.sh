# Reads and writes that go wrong in ways no model file has, now and then: a status that never comes, one for another command,
# a residue of what was done whole, half of it done with good status (and the residue says so, or does not), a reset in the
# middle of data that is acknowledged and not done. What the card holds is read back when the gadget behaves again, and
# neither verify nor audit nor cut may say anything else of it; no sweep may come out faster for it.
# Time limit: 3600 s
. /rig/lib.sh
promises="read-after-write,overlap"
seed=100
verdicts() { column_all name "$1" | paste -d= - verdicts.of; }
column_all() { awk -F, -v name="$1" 'NR == 1 { for (i = 1; i <= NF; i++) if ($i == name) at = i; next } { print $at }' "$2"; }
damaged() { column_all class "$1" | sort -u | tr '\n' ' '; }
# try COMMAND...: whatever its status, but for a crash; in $status
try() {
	status=0
	"$@" >$out 2>$err </dev/null || status=$?
	[ $status -le 4 ] && [ $status != 2 ] || fail "'$*' ended with $status"
}
# Each command finds the gadget well, with a card of its own, and a host that gives up after a second.
fresh() {
	rm -f *.assay *.csv *.json
	model_tell slip none
	model_tell card out
	model_tell card in card.$((seed += 1))
	model_node
	token "$gadget"
	consent="--erase $token --seed $seed"
	echo 1 >/sys/block/${gadget#/dev/}/device/timeout
}
in_truth() { # what the card holds, by the gadget when it behaves
	model_tell slip none
	model_node
	blkassay verify "$gadget" --only read --seed $seed --sizes 16Ki --region 0+256Ki --csv truth.csv --out truth.assay >truth.out 2>&1 </dev/null
	truth_status=$?
	[ $truth_status -le 1 ] || fail "$slip: the card cannot be read: $(cat truth.out)"
}
check_verify() {
	fresh
	model_tell slip $slip
	try blkassay verify "$gadget" $consent --sizes 16Ki --region 0+256Ki --csv said.csv --out verify.assay
	cp $out "$results/verify-${slip% *}.txt"
	cat $err >>"$results/verify-${slip% *}.txt"
	said=$status
	in_truth
	note "$slip: verify ended with $said ($(damaged said.csv)); the card: $truth_status ($(damaged truth.csv))"
	case $said in
	0) is "$slip: what the card holds, when verify found no damage" $truth_status 0 ;;
	1) [ $truth_status = 1 ] || [ "$(damaged said.csv)" = "unreadable " ] || fail "$slip: verify found damage, and there is none" ;;
	esac
}
check_audit() {
	fresh
	model_tell slip $slip
	try blkassay audit "$gadget" $consent --only $promises --region 0+1Mi --csv audit.csv --out audit.assay
	cp $out "$results/audit-${slip% *}.txt"
	cat $err >>"$results/audit-${slip% *}.txt"
	[ ! -e audit.csv ] || column_all verdict audit.csv >verdicts.of
	[ -e audit.csv ] && lines=$(verdicts audit.csv | grep -v "not.asked" | tr '\n' ' ') || lines=
	note "$slip: audit ended with $status: $lines"
	case $slip in
	hidden*) [ $status != 0 ] || fail "$slip: the audit found nothing, and half of many writes is lost" ;;
	*) ! echo "$lines" | grep -q "=broken" || fail "$slip: the audit found broken what the card has right" ;;
	esac
}
check_cut() {
	fresh
	model_tell slip $slip
	try blkassay cut "$gadget" $consent --seconds 1 --cycles 2 --region 0+256Ki --cut-with "bus_gadget tell cut 2000" --json cut.json --out cut.assay
	cp $out "$results/cut-${slip% *}.txt"
	cat $err >>"$results/cut-${slip% *}.txt"
	note "$slip: cut ended with $status: $(grep -o '"verdict":"[a-z-]*"' cut.json | sed -n 1p)"
	case $slip in
	hidden*) [ $status != 0 ] || fail "$slip: no broken promise, and half of many writes is lost" ;;
	*) [ $status != 1 ] || fail "$slip: promises broken, which the card kept" ;;
	esac
}
# The fastest pass of a direction that counts: without errors, and not flagged for any.
rate_of() {
	awk -F, -v way="$1" 'NR == 1 { for (i = 1; i <= NF; i++) at[$i] = i; next }
		$at["direction"] == way && $at["errors"] == 0 && $at["acknowledged_bytes_per_second"] + 0 > most { most = $at["acknowledged_bytes_per_second"] }
		END { print most + 0 }' sweep.csv
}
check_sweep() {
	fresh
	[ "$slip" = none ] || model_tell slip $slip
	try blkassay sweep "$gadget" $consent --direction read,write --order sequential --sizes 16Ki --region 0+256Ki --seconds 1 --passes 2 --out sweep.assay --csv sweep.csv
	cp $out "$results/sweep-${slip% *}.txt"
	cat $err >>"$results/sweep-${slip% *}.txt"
	note "$slip: sweep ended with $status: reads at $(rate_of read) B/s, writes at $(rate_of write)"
	[ "$slip" != none ] || { right_reads=$(rate_of read) right_writes=$(rate_of write); return; }
	between "$slip: reads a second" "$(rate_of read)" 0 "$(awk "BEGIN { print $right_reads * 1.05 }")"
	# The half of a write that it throws away, this gadget takes as fast as the bus brings it.
	[ "$slip" = "hidden 3" ] || between "$slip: writes a second" "$(rate_of write)" 0 "$(awk "BEGIN { print $right_writes * 1.05 }")"
}

model_plug buoy-d
for slip in none "residue 3" "short 3" "tag 7" "lost 19" "undone 19" "hidden 3"; do
	check_sweep
	[ "$slip" != none ] || continue
	check_verify
	check_audit
	check_cut
done
model_remove

# An answer that is too long makes the host reset the drive, which may as well be another one then: it is said which command
# that was.
model_plug -s fault-mode-too-long
model_tell faults yes
token "$gadget"
run 3 blkassay audit "$gadget" --erase "$token" --only cache-page,kernel-view --region 0+1Mi --out long.assay
says "this run's command 1Ah had failed on the bus (host status 7), for which the host resets a device"
model_remove
