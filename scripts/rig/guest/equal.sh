# A model on its virtual clock and the same model on the bus, through the same commands; for scripts/rig/equality.
#
#   equal_data MODEL       the audit's first lines, verify and cut on both; $results/verdicts.csv: model,command,what,on_model,on_bus
#   equal_audit MODEL [LINES]   the whole audit (or these lines)
#   equal_slow MODEL       both with a slower card behind it, and those lines of the audit that ask after a backlog
#   equal_cuts MODEL       both with a slower card behind it, and cuts alone
#   equal_times MODEL      sweeps of it and of one that stores nothing, on both; $results/SIDE.WHAT.csv, a line for each pass
# Each ends with a file "done" among its results, which are taken out of the machine right then.
# As many as a verdict on answers alone takes, and some that test none.
cut_cycles=15

# column_of NAME FILE: of a CSV file without commas in the columns before it.
column_of() {
	awk -F, -v name="$1" 'NR == 1 { for (i = 1; i <= NF; i++) if ($i == name) at = i; next } at { print $at }' "$2" 2>/dev/null
}
# The verdicts of an audit, a line each: "flush kept".
audit_verdicts() {
	column_of name "$1.csv" >$1.names
	column_of verdict "$1.csv" | tr - ' ' | paste -d' ' $1.names -
}
# try NAME COMMAND...: whatever its status; output in NAME.out, status in $status
try() {
	name=$1
	shift
	status=0
	"$@" >$name.out 2>$name.err </dev/null || status=$?
	cp $name.out "$results/$name.txt"
	cat $name.err >>"$results/$name.txt"
	[ $status != 2 ] && [ $status -le 4 ] || fail "'$*' ended with $status: $(cat $name.err)"
}
# Damaged blocks by class, as one word: "stale:12+torn:3".
damage_of() {
	column_of class "$1" >classes
	column_of length_bytes "$1" | paste -d' ' classes - |
		awk 'NF == 2 { bytes[$1] += $2 } END { for (c in bytes) print c ":" bytes[c] / 512 }' | sort | tr '\n' '+' | sed 's/+$//'
}
# The first is that of the whole; those of single cuts come after it.
cut_verdict() { grep -o '"verdict":"[a-z-]*"' "$1.json" | sed -n '1s/.*:"\(.*\)"/\1/p' | tr - ' '; }

audit_side() { # model|bus TARGET TOKEN
	side=$1 target=$2 consent=$3
	fresh
	# shellcheck disable=SC2086
	try $side-audit blkassay audit "$target" --erase "$consent" --seed 1 --with-eject $only --region $audit_at+4Mi --csv $side-audit.csv --out $side-audit.assay --quiet
	audit_verdicts $side-audit >$side.audit
	echo "exit $status" >>$side.audit
}
data_side() { # model|bus TARGET TOKEN CUT-OPTION...
	side=$1 target=$2 consent=$3
	shift 3
	fresh
	try $side-verify blkassay verify "$target" --erase "$consent" --seed 2 --sizes 16Ki --region $verify_at+2Mi --csv $side-verify.csv --out $side-verify.assay --quiet
	echo "damage exit-$status:$(damage_of $side-verify.csv)" >$side.verify
	fresh
	try $side-spot blkassay verify "$target" --erase "$consent" --seed 3 --sizes 4Ki --spot 64 --csv $side-spot.csv --out $side-spot.assay --quiet
	# How many writes it takes to try a place again is no matter of the gadget's.
	echo "damage exit-$status:$(damage_of $side-spot.csv | sed 's/:[0-9]*//g')" >$side.spot
	cut_side $side "$target" "$consent" "$@"
}
cut_side() { # model|bus TARGET TOKEN CUT-OPTION...
	side=$1 target=$2 consent=$3
	shift 3
	fresh
	try $side-cut blkassay cut "$target" --erase "$consent" --seed 4 --seconds 1 --cycles $cut_cycles --region 0+256Ki --json $side-cut.json --out $side-cut.assay --quiet "$@"
	echo "promises $(cut_verdict $side-cut)" >$side.cut
	echo "exit $status" >>$side.cut
}
# Each command finds an empty card, and faults "1 in N" count from here on, as they do when a model is opened.
cards=0
fresh() {
	[ $side = bus ] || return 0
	cards=$((cards + 1))
	[ -z "$asleep" ] || model_tell faults no
	model_tell card out
	model_tell card in card.$cards
	model_node
	[ -z "$asleep" ] || model_wake
	target=$gadget
	model_tell recount
}

claims="inquiry,capacity,cache-page,kernel-view,past-end,sense,steady,answered,vital-pages"
waiting="buffer,flush,fua,fsync,write-behind,eject,ejected"
order="read-after-write,overlap,partial-overlap,straddle,interleaved,odd-length"

begin_equal() { # MODEL
	run_as=$(basename "$1" .model).run
	cp "$(model_file "$1")" "$run_as"
	often "$run_as"
	# Where it is asked: at the front, or at the end of the drive, where this fault is.
	audit_at=0 verify_at=0
	! grep -q "twice range" "$run_as" || audit_at=28Mi verify_at=30Mi
	asleep="" cut_with='bus_gadget tell in=$((20 + RANDOM % 100)) cut 2000'
	case $1 in
	# The kernel looks at a card six times, 30 s each: the faults sleep meanwhile.
	*loses-status* | *silent-unknown* | *stalls-unknown*)
		asleep=-s cut_with="bus_gadget tell faults no; $cut_with"
		;;
	esac
	model_plug $asleep "$run_as"
	model_consent=$(sed -n 's/^ *name = *\([^ #]*\).*/\1/p' "$model")
	token "$gadget"
	consent_of_drive=$token
}
compare_sides() { # COMMAND...
	for command; do
		awk -v model="$(basename "$model" .run)" -v command=$command '
			{ what = $1; sub(/^[^ ]* /, "") }
			NR == FNR { on_model[what] = $0; order[++n] = what; next }
			{ on_bus[what] = $0 }
			END { for (i = 1; i <= n; i++) print model "," command "," order[i] "," on_model[order[i]] "," on_bus[order[i]] }' \
			model.$command bus.$command | grep -v ",not asked,not asked$" >>"$results/verdicts.csv"
	done
}
both_audits() {
	audit_side model "model:$model" "$model_consent"
	audit_side bus "$gadget" "$consent_of_drive"
	compare_sides audit
}
equal_data() {
	begin_equal "$1"
	only="--only $claims"
	both_audits
	data_side model "model:$model" "$model_consent"
	# So long that the kernel gives the drive up; after a shorter one it resets it, and goes on as if nothing had been.
	data_side bus "$gadget" "$consent_of_drive" --cut-with "$cut_with"
	compare_sides verify spot cut
	model_remove
	equal_done
}
equal_audit() {
	begin_equal "$1"
	only=${2:+--only $2}
	both_audits
	model_remove
	equal_done
}
# What strikes now and then, here and there, strikes each probe: else it is chance which of them meets it on either side.
often() {
	grep -q "wrong tag" "$1" || # a reset follows each, and ends the audit of a drive
		sed -i 's/ = 1 in [0-9]*/ = 1 in 7/; s/flip bit every = .*/flip bit every = 4Ki/' "$1"
}
# What is there by now is there whatever becomes of the rest.
equal_done() {
	: >"$results/done"
	/rig/save
}

# The same with a card so slow that a backlog shows on the bus too, where a request takes half a millisecond more; the lines
# of the audit that a backlog tells something about, and cuts.
equal_slow() {
	sed 's/write rate = 1.0 MB/write rate = 0.4 MB/' "$(model_file "$1")" >"$1-slow.model"
	begin_equal "$1-slow.model"
	only="--only $waiting,$order"
	both_audits
	data_side model "model:$model" "$model_consent"
	data_side bus "$gadget" "$consent_of_drive" --cut-with "$cut_with"
	compare_sides verify spot cut
	model_remove
	equal_done
}

equal_cuts() {
	sed 's/write rate = 1.0 MB/write rate = 0.4 MB/' "$(model_file "$1")" >"$1-slow.model"
	begin_equal "$1-slow.model"
	cut_side model "model:$model" "$model_consent"
	cut_side bus "$gadget" "$consent_of_drive" --cut-with "$cut_with"
	compare_sides cut
	model_remove
	equal_done
}

# The same link and buffer, and a card that takes no time; the same file for all models with those. The buffer stays, as the gadget
# stores what it buffers while data comes in, and else behind the data, which takes it 1.2 ms for 64 KiB on the rig's processor.
null_model() {
	sed -e '/^#/d' -e '/command cost\|sector cost\|write unit\|stall /d' \
		-e 's/\(read\|write\) rate = .*/\1 rate = unlimited/' -e 's/unit = sector/unit = request/' \
		-e 's/ name = .*/ name = nothing/' -e 's/ seed = .*/ seed = 99/' -e '/ revision = /d' \
		-e '/^firmware/,/^[a-z]*:/{/request cost/d;}' -e '/^claims/,$d' "$1"
}
# What bus and host take of a request beyond the model: "GAP SLOPE", ms and ms a KiB, by a line through what the gadget that
# stores nothing took on the bus less what it takes on its clock.
overhead() {
	awk -F, 'FNR == 1 { side++; for (i = 1; i <= NF; i++) at[$i] = i; next }
		{ k = $at["direction"] " " $at["request_bytes"] / 1024; n[side, k]++; sum[side, k] += $at["seconds"] / $at["requests"] * 1000; keys[k] }
		END {
			for (k in keys) { split(k, p, " "); x = p[2]; y = sum[2, k] / n[2, k] - sum[1, k] / n[1, k]; m++; sx += x; sy += y; sxx += x * x; sxy += x * y }
			b = (m * sxy - sx * sy) / (m * sxx - sx * sx)
			printf "%.5f %.6f", (sy - b * sx) / m, b
		}' "$1" "$2"
}
# Exit status in $status: what a model's faults do to a sweep, they do on both sides.
sweep_to() { # NAME TARGET TOKEN
	try $1 blkassay sweep "$2" --erase "$3" --direction read,write --order sequential --sizes 4Ki,16Ki,64Ki \
		--region 0+1Mi --seconds 0.6 --passes 3 --seed 5 --out "$1.assay" --quiet
	was=$status
	run 0 blkassay report "$1.assay" --csv "$results/$1.csv"
	status=$was
}
sweep_on_bus() { # NAME MODEL-FILE
	model_plug "$2"
	token "$gadget"
	sweep_to "bus.$1" "$gadget" "$token"
	model_remove
}
# The gadget that stores nothing is measured once in a boot for each link; what bus and host take of it is given to both
# models, as the host's gap and in the link's rate: a card can go on meanwhile.
equal_times() {
	null_model "$(model_file "$1")" >null.model
	kept=/tmp/null.$(md5sum <null.model | cut -c1-32)
	if [ ! -d "$kept" ]; then
		sweep_on_bus null null.model
		sweep_to plain.null model:null.model nothing
		mkdir "$kept"
		cp "$results/bus.null.csv" "$results/plain.null.csv" "$kept"
	fi
	cp "$kept"/* "$results"
	cp "$(model_file "$1")" whole.model
	sweep_on_bus whole whole.model
	on_bus=$status
	set -- $(overhead "$results/plain.null.csv" "$results/bus.null.csv")
	note "bus and host take $1 ms a request and $2 ms a KiB"
	for what in null whole; do
		rate=$(sed -n '/^link/,/^card/s/^ *rate = \([0-9.]*\) MB.*/\1/p' $what.model)
		rate=$(awk "BEGIN { printf \"%.6f\", 1 / (1 / $rate + $2 / 1.024) }")
		sed -e "s/^link:.*/&\n    host gap = $1 ms/" -e "/^link/,/^card/s/^\( *rate = \)[0-9.]* MB/\1$rate MB/" $what.model >gap.model
		sweep_to model.$what model:gap.model "$(sed -n 's/^ *name = *\([^ #]*\).*/\1/p' gap.model)"
	done
	echo "$status $on_bus" >"$results/statuses"
	equal_done
}
