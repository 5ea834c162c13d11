# Each sin alone is named under its own line, with exit status 1; honest gadgets pass; report shows the same again.
. "$(dirname "$0")/lib.sh"
models=$here/../../scripts/models
cd "$tmp" || exit 1

audit() { # STATUS MODEL [OPTION...]
	wanted_status=$1 model=$2
	shift 2
	name=$(sed -n 's/^ *name = *\([^ ]*\).*/\1/p' "$models/$model.model")
	run "$wanted_status" "$BLKASSAY" audit "model:$models/$model.model" --erase "$name" --seed 1 --out "$model.assay" "$@"
}

for honest in buoy-b buoy-d buoy-e; do
	audit 0 $honest --with-eject
	says "No broken promise found"
	says "Modelled, not measured"
	says_not "broken     "
done
# The failed background write of buoy-e is told as a deferred error, by its standard name.
says "kept       background-error"
says "deferred medium error,"
says "0C/00 write error, block 20"

for pair in ignores-flush=flush ignores-fua=fua stale-reads=read-after-write reorders=overlap tears=power-cut \
	forgets-flushed=power-cut silent-error=background-error past-end=past-end ejects-undrained=eject \
	loses-writes=stored; do
	audit 1 "sin-${pair%=*}" --with-eject
	says "broken     ${pair#*=}:"
	says "mend: "
	says "Not safe to ship"
done
# Alone: nothing else is blamed.
for pair in tears=power-cut past-end=past-end ejects-undrained=eject ignores-fua=fua; do
	run 0 "$BLKASSAY" report "sin-${pair%=*}.assay"
	says "1 of 20 promises broken (${pair#*=})"
done
audit 1 buoy-c
says "broken     write-behind:"
# What eject would do is not done unasked.
rm buoy-d.assay
audit 0 buoy-d
says "not shown  eject:"
