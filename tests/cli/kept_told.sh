# After a killed run with --keep-data every view of its record, the list of targets and the next run on the target say where
# the data is, with a command that can be pasted into a shell; and once it is back nobody says that it is away.
. "$(dirname "$0")/lib.sh"
requires_root
folder="$tmp/it's \$(a) folder"
mkdir "$folder"
cd "$folder" || exit 1
image=$folder/$unique.img
head -c 2M /dev/urandom >"$image"
before=$(sha256sum <"$image")
loop_device "$image"
killed() { # BYTES COMMAND OPTION...: once something in the last BYTES has changed
	from=$1 command=$2 was=$(tail -c "$1" "$image" | sha256sum) n=0
	shift 2
	"$BLKASSAY" "$command" "$loop" --keep-data --out "$command.assay" "$@" >"$out" 2>"$err" </dev/null &
	pid=$!
	until [ "$(tail -c "$from" "$image" | sha256sum)" != "$was" ] && [ -s "$command.assay.kept" ]; do
		n=$((n + 1))
		[ $n -lt 600 ] || fail "the run does not begin to write"
		sleep 0.05
	done
	kill -9 $pid
	wait $pid 2>/dev/null
	kept=$folder/$command.assay.kept
}
# What is to be pasted: the line that begins so, whole, given to a shell.
pasted() { # FILE
	line=$(grep -F "blkassay restore " "$1" | head -n 1 | sed 's/^ *//')
	case $line in "blkassay restore "*) ;; *) fail "no line to paste in $1" ;; esac
	set -- "$(eval "set -- $line; printf '%s|%s' \"\$3\" \"\$4\"")"
	[ "$1" = "$kept|$loop" ] || fail "pasted, it reads '$1'"
}
seen_by_all() { # RECORD
	run 0 "$BLKASSAY" report "$1"
	tells "ends before the target's own data was put back"
	sed '/^Run 2/,$d; /^Cut/,$d' "$out" | grep -qF "blkassay restore " || fail "not before the run's facts"
	pasted "$out"
	run 0 "$BLKASSAY" report "$1" --page page.html
	grep -qF '<pre><span>blkassay</span> <span>restore</span> ' page.html || fail "not on the page"
	pasted "$err"
	run 0 "$BLKASSAY" targets
	tells "'$loop': its own data was saved by"
	grep -F " '$loop'" "$out" >mine
	pasted mine
	run 0 "$BLKASSAY" targets --csv -
	grep -F " '$loop'" "$err" >mine
	pasted mine
	# The next runs on it: one that only reads, from another folder too, and one that keeps data.
	run 0 "$BLKASSAY" sweep "$loop" --sizes 64Ki --seconds 0.01 --passes 1 --out next.assay
	says "does NOT hold its own data"
	pasted "$err"
	(cd / && run 0 "$BLKASSAY" sweep "$loop" --sizes 64Ki --seconds 0.01 --passes 1 --quiet \
		--out "$folder/next2.assay" && pasted "$err") || exit 1
	rm -f next.assay next2.assay
}

killed 4K verify --generations 1000 # all of it holds test data by then
seen_by_all verify.assay
run 0 "$BLKASSAY" report verify.assay --csv verify.csv
pasted "$err"
# It cannot be gone on with, which does not mean that its data is back.
run 2 "$BLKASSAY" verify "$loop" --resume verify.assay
says "there is nothing to go on from"
pasted "$err"
# A second run with --keep-data says beforehand what it is that it saves, and in the end what it is that is back.
now=$(sha256sum <"$image")
run 0 "$BLKASSAY" verify "$loop" --keep-data --spot 8 --sizes 4Ki --out second.assay
says "does NOT hold its own data"
says "hold test data from this tool"
says "32 KiB of the 32 KiB saved is test data from an earlier run"
says "kept data is back"
says "32 KiB of the 32 KiB put back is test data from an earlier run"
[ "$(grep -n 'NOT hold' "$err" | head -n 1 | cut -d: -f1)" -lt "$(grep -n 'is saved' "$err" | head -n 1 | cut -d: -f1)" ] ||
	fail "said after saving"
[ "$(sha256sum <"$image")" = "$now" ] || fail "the second run changed the target"
# Two runs killed one after the other: the first one's data does not go over what the second saved.
killed 2M sweep --direction write --sizes 16Ki --seconds 20
mv verify.assay.kept ..
seen_by_all sweep.assay
run 0 "$BLKASSAY" report sweep.assay --csv sweep.csv
pasted "$err"
run 0 "$BLKASSAY" report sweep.assay --json sweep.json
pasted "$err"
grep -q '"code":"kept-data-away","kind":"caution"' sweep.json || fail "not in the JSON"
grep -qF "\"command\":\"blkassay restore '" sweep.json || fail "no command in the JSON"
run 0 "$BLKASSAY" explain sweep.assay
pasted "$out"
run 0 "$BLKASSAY" explain sweep.assay --csv explain.csv
pasted "$err"
mv ../verify.assay.kept .
run 2 "$BLKASSAY" restore verify.assay.kept "$loop"
says "test data from another run"
says "restore what a later run with --keep-data saved first"
run 0 "$BLKASSAY" restore sweep.assay.kept "$loop"
[ "$(sha256sum <"$image")" = "$now" ] || fail "the later run's data is not back"
run 0 "$BLKASSAY" restore verify.assay.kept "$loop"
[ "$(sha256sum <"$image")" = "$before" ] || fail "the target is not as before"

# Back: nobody says that it is away. The files are still there, and what is true of them is said.
run 0 "$BLKASSAY" sweep "$loop" --sizes 64Ki --seconds 0.01 --passes 1 --out after.assay
says_not "NOT hold"
says "64 are as saved"
rm -f ./*.kept
run 0 "$BLKASSAY" sweep "$loop" --sizes 64Ki --seconds 0.01 --passes 1 --out after2.assay
says_not ".kept"
run 0 "$BLKASSAY" targets
! grep -F " '$loop'" "$out" "$err" | grep -qF "blkassay restore" || fail "targets still says how to put it back"
run 0 "$BLKASSAY" report verify.assay
tells "is not in"
tells "any more: it was put back and deleted, or moved"
says_not "blkassay restore"
# A run that went to its end has nothing to say of it; its record says that the data is back.
run 0 "$BLKASSAY" verify "$loop" --keep-data --spot 8 --sizes 4Ki --out whole.assay
run 0 "$BLKASSAY" report whole.assay
says_not "put back"
grep -q ' kept state=back ' whole.assay || fail "the record does not say that the data is back"
[ "$(grep -n ' kept state=back ' whole.assay | cut -d: -f1)" -lt "$(grep -n ' end status=' whole.assay | cut -d: -f1)" ] ||
	fail "said after the end"

# A cut leaves its region as it is, and everybody names the recheck before the restoring.
run 0 "$BLKASSAY" cut "$loop" --keep-data --region 0+1Mi --seconds 0.1 --out cut.assay
kept=cut.assay.kept # as it was named here
pasted "$err"
kept=$folder/cut.assay.kept
run 0 "$BLKASSAY" report cut.assay
tells "The target holds what the cut left there"
tells "Recheck first"
pasted "$out"
run 0 "$BLKASSAY" report cut.assay --page page.html
grep -qF '<pre><span>blkassay</span> <span>restore</span> ' page.html || fail "not on the page"
status=0
"$BLKASSAY" recheck cut.assay "$loop" >"$out" 2>"$err" || status=$?
[ $status = 4 ] || fail "recheck ended with $status"
says "Recheck its journal first"
run 0 "$BLKASSAY" restore cut.assay.kept "$loop"
[ "$(sha256sum <"$image")" = "$before" ] || fail "the target is not as before"
rm -f cut.assay.kept

# An audit, and one that never began: nothing was written, and that is said.
killed 2M audit
seen_by_all audit.assay
run 0 "$BLKASSAY" restore audit.assay.kept "$loop"
[ "$(sha256sum <"$image")" = "$before" ] || fail "the target is not as before"
rm -f audit.assay.kept
mkdir there && : >there/a.assay.kept
run 2 "$BLKASSAY" audit "$loop" --keep-data --out there/a.assay
says "nothing was written to '$loop'"
[ "$(grep -c . "$err")" -ge 1 ] && [ ! -e there/a.assay ] || fail "left a record of nothing"
run 2 "$BLKASSAY" verify "$loop" --keep-data --out there/a.assay
says "nothing was written to '$loop'"
