# Screens fit: no line is wider than COLUMNS; bars stand where there is room and say what the figures beside them say.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
models=$here/../../scripts/models
for build in b c; do
	run 0 "$BLKASSAY" sweep "model:$models/buoy-$build.model" --direction read,write --sizes 512..64Ki --seconds 0.2 \
		--seed 1 --label $build --out $build.assay
done

shown_fits() { # WIDTH COMMAND...
	width=$1
	shift
	run 0 env COLUMNS="$width" LC_ALL=C.UTF-8 "$@"
	fits "$width" "$out"
}
for width in 60 80 100 140; do
	shown_fits $width "$BLKASSAY" report b.assay
	shown_fits $width "$BLKASSAY" compare b.assay --against c.assay
	shown_fits $width "$BLKASSAY" explain b.assay
	shown_fits $width "$BLKASSAY" help
	for command in targets sweep verify audit cut recheck explain compare report observe restore; do
		shown_fits $width "$BLKASSAY" $command -h
		shown_fits $width "$BLKASSAY" help $command
	done
done
# What would be gained stands in the line of its cause at 80 columns, whatever the units of its ends.
run 0 env COLUMNS=80 LC_ALL=C "$BLKASSAY" explain b.assay
grep -q '^sequential reads .* sector cost .* 0\.[0-9]*\.\.1\.[0-9]* MB/s$' "$out" || fail "the gain is not beside its cause"
# Where a table goes on below, its rows are told apart there too.
run 0 env COLUMNS=70 LC_ALL=C "$BLKASSAY" explain b.assay
grep -q '^sequential reads  *4 KiB  sector cost  *0\.[0-9.]* MB/s$' "$out" || fail "what goes on below does not say of which cause"

# Half the rate is half the bar; no bars where there is no room.
run 0 env COLUMNS=80 LC_ALL=C "$BLKASSAY" report b.assay
says_not '=='
run 0 "$BLKASSAY" report b.assay --json b.json
run 0 env COLUMNS=150 LC_ALL=C "$BLKASSAY" report b.assay
cat >bars.py <<'END'
import json, re, sys
views = json.load(open(sys.argv[2]))
view = views[0] if isinstance(views, list) else views
rates, bars, heading = {}, {}, None
for point in view["points"]:
    kind = "stored" if point["direction"] == "write" else "acknowledged"
    rates.setdefault((point["direction"], point["order"]), []).append(point[kind + "_bytes_per_second"])
for line in open(sys.argv[1]):
    found = re.match(r"(Sequential|Random) (reads|writes)", line)
    if found:
        heading = (found[2][:-1], found[1].lower())
    found = re.match(r" +[0-9]+ (?:B|KiB) .*  (=+)$", line)
    if found and heading:
        bars.setdefault(heading, []).append(len(found[1]))
assert set(bars) == set(rates) and len(bars) == 4, (bars, rates)
for key in rates:
    assert len(bars[key]) == len(rates[key]), key
    for bar, rate in zip(bars[key], rates[key]):
        assert abs(bar - max(bars[key]) * rate / max(rates[key])) <= 1, (key, bars[key], rates[key])
END
python3 bars.py "$out" b.json || fail "bars do not fit the rates"
