# A model on its virtual clock and the same model on the bus, through the same commands; for scripts/rig/equality.
#
#   equal_verdicts MODEL   audit, verify and cut on both; $results/verdicts.csv: model,command,what,on_model,on_bus
#   equal_times MODEL      sweeps of it and of one that stores nothing, on both; $results/SIDE.WHAT.csv, a line for each pass
cut_cycles=6

# The verdicts of an audit, a line each: "flush kept".
audit_verdicts() {
	sed -n 's/^\(kept\|broken\|not shown\|not asked\)  *\([a-z-]*\):.*/\2 \1/p' "$1"
}
# try NAME COMMAND...: whatever its status; output in NAME.out, status in $status
try() {
	name=$1
	shift
	status=0
	"$@" >"$name.out" 2>"$name.err" </dev/null || status=$?
	cp "$name.out" "$results/$name.txt"
	cat "$name.err" >>"$results/$name.txt"
	[ $status -le 4 ] || fail "'$*' ended with $status"
}
# Damaged blocks by class, as one word: "stale:12+torn:3".
damage_of() {
	awk -F, 'NR > 1 { bytes[$1] += $3 } END { for (c in bytes) print c ":" bytes[c] / 512 }' "$1" | sort | tr '\n' '+' | sed 's/+$//'
}
one_side() { # model|bus TARGET TOKEN CUT-OPTION...
	side=$1 target=$2 consent=$3
	shift 3
	fresh
	try $side-audit blkassay audit "$target" --erase "$consent" --seed 1 --with-eject --region 0+4Mi --out $side-audit.assay --quiet
	audit_verdicts $side-audit.out >$side.audit
	echo "exit $status" >>$side.audit
	fresh
	try $side-verify blkassay verify "$target" --erase "$consent" --seed 2 --sizes 4Ki --region 0+4Mi --damage $side-verify.csv --out $side-verify.assay --quiet
	echo "damage exit-$status:$(damage_of $side-verify.csv)" >$side.verify
	fresh
	try $side-spot blkassay verify "$target" --erase "$consent" --seed 3 --sizes 4Ki --spot 256 --damage $side-spot.csv --out $side-spot.assay --quiet
	echo "damage exit-$status:$(damage_of $side-spot.csv)" >$side.spot
	fresh
	try $side-cut blkassay cut "$target" --erase "$consent" --seed 4 --seconds 2 --cycles $cut_cycles --region 0+1Mi --out $side-cut.assay --quiet "$@"
	case $status in
	0) echo "promises kept" ;;
	1) echo "promises broken" ;;
	*) echo "promises not shown" ;;
	esac >$side.cut
}
# Each command finds an empty card, and faults "1 in N" count from here on, as they do when a model is opened.
cards=0
fresh() {
	[ $side = bus ] || return 0
	cards=$((cards + 1))
	model_tell card out
	model_tell card in card.$cards
	model_node
	target=$gadget
	model_tell recount
}

equal_verdicts() {
	model_plug "$1"
	one_side model "model:$model" "$(sed -n 's/^ *name = *\([^ #]*\).*/\1/p' "$model")"
	token "$gadget"
	# So long that the kernel gives the drive up; after a shorter one it resets it, and goes on as if nothing had been.
	one_side bus "$gadget" "$token" --cut-with "bus_gadget tell cut 2000"
	for command in audit verify spot cut; do
		awk -v model="$(basename "$model" .model)" -v command=$command '
			{ what = $1; sub(/^[^ ]* /, "") }
			NR == FNR { on_model[what] = $0; order[++n] = what; next }
			{ on_bus[what] = $0 }
			END { for (i = 1; i <= n; i++) print model "," command "," order[i] "," on_model[order[i]] "," on_bus[order[i]] }' \
			model.$command bus.$command >>"$results/verdicts.csv"
	done
	model_remove
}

# The same with a card so slow that a backlog shows on the bus too, where a request takes half a millisecond more.
slow_model() { sed 's/write rate = 1.0 MB/write rate = 0.4 MB/' "$(model_file "$1")"; }

# The same link, and nothing behind it.
null_model() {
	sed -e '/command cost\|sector cost\|write unit\|stall \|transfer =\|write behind\|chunk =\|reads =\|drain =\|idle time\|when full/d' \
		-e 's/\(read\|write\) rate = .*/\1 rate = unlimited/' -e 's/unit = sector/unit = request/' \
		-e '/^firmware/,/^[a-z]*:/{/request cost/d;}' -e '/^faults/,$d' "$1"
}
# Seconds that bus and host take beyond the model, a request: of the gadget that stores nothing, over both directions.
overhead_ms() {
	awk -F, 'FNR == 1 { side++; for (i = 1; i <= NF; i++) at[$i] = i; next }
		{ key = $at["direction"] $at["request_bytes"]; n[side key]++; sum[side key] += $at["seconds"] / $at["requests"]; keys[key] }
		END { for (k in keys) { more += sum[2 k] / n[2 k] - sum[1 k] / n[1 k]; count++ } printf "%.4f", more / count * 1000 }' \
		"$results/plain.null.csv" "$results/bus.null.csv"
}
sweep_to() { # NAME TARGET TOKEN
	run 0 blkassay sweep "$2" --erase "$3" --direction read,write --order sequential --sizes 4Ki,8Ki,16Ki,32Ki,64Ki \
		--region 0+4Mi --seconds 1 --passes 5 --seed 5 --out "$1.assay" --quiet
	run 0 blkassay report "$1.assay" --csv "$results/$1.csv"
}
# What bus and host take is measured with the gadget that stores nothing, and given to both models as the host's gap: a
# card can go on meanwhile.
equal_times() {
	null_model "$(model_file "$1")" >null.model
	cp "$(model_file "$1")" whole.model
	consent=$(sed -n 's/^ *name = *\([^ #]*\).*/\1/p' whole.model)
	for what in null whole; do
		model_plug $what.model
		token "$gadget"
		sweep_to bus.$what "$gadget" "$token"
		model_remove
		mv $truth "$results/truth.$what.log"
	done
	sweep_to plain.null model:null.model "$consent"
	gap=$(overhead_ms)
	note "$1: bus and host take $gap ms a request"
	echo "$gap" >"$results/gap_ms"
	for what in null whole; do
		sed "s/^link:.*/&\n    host gap = $gap ms/" $what.model >gap.model
		sweep_to model.$what model:gap.model "$consent"
	done
}
