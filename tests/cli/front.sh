# The front door: what was meant, versions, help long and short, colour, the verdict alone, commands that can be pasted.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
model=model:$here/../../scripts/models/buoy-b.model

run 2 "$BLKASSAY" sweap
says "did you mean 'sweep'?"
run 2 "$BLKASSAY" xyzzy
says_not "did you mean"
run 2 "$BLKASSAY" sweep --sede 3 x
says "did you mean '--seed'?"
run 2 "$BLKASSAY" sweep --lable=x x
says "did you mean '--label'?"
run 2 "$BLKASSAY" sweep --frobnicate x
says_not "did you mean"
run 2 "$BLKASSAY" sweep --p 3 x
says "option '--p' is ambiguous: --passes, --page"
run 2 "$BLKASSAY" sweep -x
says "no option '-x'"
run 2 "$BLKASSAY" --seed 3 sweep x
says "'--seed' is not a command, and the command comes first: blkassay COMMAND"
run 2 "$BLKASSAY" sweep no-such-image
says "cannot find target 'no-such-image': No such file or directory; 'blkassay targets' lists the devices here"

run 0 "$BLKASSAY" -V
cp "$out" version
run 0 "$BLKASSAY" --version
cmp -s "$out" version || fail "-V and --version differ"

# -h is on one screen and explains nothing; --help explains.
for command in $("$BLKASSAY" help | awk '/^  [a-z]/ { print $1 }'); do
	run 0 "$BLKASSAY" "$command" -h
	[ "$(wc -l <"$out")" -le 12 ] || fail "$command -h is long"
	"$BLKASSAY" help "$command" | sed -n 's/^  \(--[a-z-]*\).*/\1/p' | while read -r option; do
		grep -q -e "$option" "$out" || fail "$command -h lacks $option"
	done || exit 1
	run 0 "$BLKASSAY" help "$command"
	cp "$out" long
	run 0 "$BLKASSAY" "$command" --help
	cmp -s "$out" long || fail "help $command and $command --help differ"
done
run 0 "$BLKASSAY" help cut
tells "never mains"

# What a record holds of its command can be pasted, and does the same.
run 0 "$BLKASSAY" sweep "$model" --sizes 4Ki --order sequential --seconds 0.1 --seed 5 --label "it's build b; \$HOME" --out a.assay
run 0 "$BLKASSAY" report a.assay --json a.json
python3 - <<'END' >again || fail "the JSON lacks the command"
import json
view = json.load(open("a.json"))
view = view[0] if isinstance(view, list) else view
print(view["run"]["command"].replace("a.assay", "b.assay"))
END
grep -q "^blkassay sweep model:" again || fail "not the command: $(cat again)"
mkdir bin
ln -s "$BLKASSAY" bin/blkassay
run 0 env PATH="$tmp/bin:$PATH" sh again
run 0 "$BLKASSAY" report b.assay
says "it's build b; \$HOME"

# The verdict alone, a line.
run 0 "$BLKASSAY" report a.assay --brief
[ "$(wc -l <"$out")" = 1 ] || fail "--brief is not one line"

# Of several runs it says whose it is, and of one it does not.
run 0 "$BLKASSAY" report a.assay b.assay --brief
[ "$(grep -c "^Run .*, it's build b; \$HOME:$" "$out")" = 2 ] || fail "--brief of two runs does not say whose each verdict is"
run 0 "$BLKASSAY" explain a.assay --brief
says_not "Run "

# A record named where a target is meant is not taken for an image, and a place that is none is said before the plan.
run 2 "$BLKASSAY" sweep a.assay --out x.assay
says "'a.assay' is a record of a run, not a target"
run 2 "$BLKASSAY" sweep "$model" --out no/such/x.assay
says "there is no folder 'no/such'"
[ "$(wc -l <"$err")" = 1 ] || fail "more than the refusal is said"
: >empty.img
run 2 "$BLKASSAY" sweep empty.img --out x.assay
says "the target holds nothing"
[ ! -e x.assay ] || fail "a refused run left a record"

# A record that is there already is another run's: nothing of it is shown as if it were this one's.
cp "$here/../../scripts/models/fault-ignores-flush.model" bad.model
refused() { # RECORD COMMAND...
	record=$1
	shift
	rm -f old.json
	run 2 "$BLKASSAY" "$@" --out "$record" --json old.json --quiet
	says "'$record' exists already"
	[ ! -s "$out" ] || fail "the results of another run"
	[ ! -e old.json ] || fail "a file with the results of another run"
	run 2 "$BLKASSAY" "$@" --out "$record"
	[ ! -s "$out" ] || fail "the results of another run"
}
refused a.assay sweep "$model" --sizes 4Ki --seconds 0.1
run 0 "$BLKASSAY" audit "$model" --only capacity --quiet --out good.assay
refused good.assay audit model:bad.model --only flush
refused good.assay cut model:bad.model --region 0+2Mi --seconds 0.1
refused good.assay verify "$model" --region 0+64Ki

# Another kind of record is called what it is.
run 0 "$BLKASSAY" verify "$model" --region 0+64Ki --quiet --out v.assay
run 2 "$BLKASSAY" explain v.assay
says "'v.assay' is a verify run; only a sweep can be explained"
run 2 "$BLKASSAY" compare a.assay --against v.assay
says "'v.assay' is a verify run; only sweeps can be compared"
truncate -s 64K target.img
run 2 "$BLKASSAY" recheck a.assay target.img
says "'a.assay' is a sweep, not the journal of a cut"

# Colour.
colour=$(printf '\033')
run 0 "$BLKASSAY" report a.assay
says_not "$colour"
run 0 "$BLKASSAY" report a.assay --color=always
says "$colour"
run 0 env NO_COLOR=1 TERM=dumb "$BLKASSAY" report a.assay --color always
says "$colour"
run 0 "$BLKASSAY" report a.assay --color=never
says_not "$colour"
run 2 "$BLKASSAY" report a.assay --color=red
says "--color takes auto, always or never, not 'red'"
