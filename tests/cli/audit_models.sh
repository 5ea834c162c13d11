# Each fault alone is named under its own line, with exit status 1; honest gadgets pass; report shows the same again.
. "$(dirname "$0")/lib.sh"
models=$here/../../scripts/models
cd "$tmp" || exit 1
promises=$("$BLKASSAY" help --keys | grep -c "^word[[:space:]]audit[[:space:]]name[[:space:]]")

audit() { # STATUS MODEL [OPTION...]
	wanted_status=$1 model=$2
	shift 2
	name=$(sed -n 's/^ *name = *\([^ ]*\).*/\1/p' "$models/$model.model")
	rm -f "$model.assay"
	run "$wanted_status" "$BLKASSAY" audit "model:$models/$model.model" --erase "$name" --seed 1 --out "$model.assay" "$@"
}

for honest in buoy-d buoy-e; do
	audit 0 $honest --with-eject
	tells "No broken promise found, and everything asked about was shown: "
	says "modelled, not measured"
	says_not ": broken"
done
# The failed background write of buoy-e is told as a deferred error, by its standard name.
says "background-error: kept"
tells "deferred medium error,"
tells "0C/00 write error, block 20"
# A gadget without a buffer: what its flush is worth cannot be shown, and that is no success; unless nobody asks.
audit 4 buoy-b --with-eject
says_not ": broken"
tells "0 broken, 3 not shown (buffer, flush, fsync)"
audit 0 buoy-b --with-eject --only stored,power-cut,eject
tells "3 kept, 0 broken, 0 not shown, $((promises - 3)) not asked."

for pair in ignores-flush=flush ignores-fua=fua stale-reads=read-after-write reorders=overlap tears=power-cut \
	forgets-flushed=power-cut silent-error=background-error past-end=past-end ejects-undrained=eject \
	loses-writes=stored; do
	audit 1 "fault-${pair%=*}" --with-eject
	says "${pair#*=}: broken"
	says "to mend it  "
	says "Not safe to ship"
done
# Faults of the protocol that commands of the audit meet.
for pair in sense-stays=sense stays-after-eject=ejected silent-unknown=answered stalls-unknown=answered \
	vital-pages=vital-pages hangs-on-page=vital-pages; do
	audit 1 "fault-${pair%=*}" --with-eject --only inquiry,eject,${pair#*=}
	says "${pair#*=}: broken"
	tells ", 1 broken (${pair#*=}), "
done
# Told, and not judged: no host is harmed.
audit 0 fault-ends-short --only answered
tells "ends in a short packet, without the stall"
audit 0 buoy-d --only answered
says_not "short packet"
audit 0 fault-prevents-removal --with-eject --only eject
tells "PREVENT had better be refused with 05/20/00"
# Alone: nothing else is blamed.
for pair in tears=power-cut past-end=past-end ejects-undrained=eject ignores-fua=fua; do
	run 0 "$BLKASSAY" report "fault-${pair%=*}.assay"
	tells ", 1 broken (${pair#*=}), "
done
# Less was moved than was answered for: that is said, and not taken for data that is lost or out of order.
audit 1 fault-wrong-residue --with-eject
tells ", 1 broken (transfer-length), "
tells "reads and writes moved less than was asked: the first, a "
# One stretch of 4 KiB cannot be read: block by block, under the line that says so, with a mend that speaks of reading.
audit 1 fault-unreadable --with-eject
tells "8 of 32768 blocks wrong: 8 unreadable"
tells "what was stored must be readable"
tells ", 1 broken (stored), "
audit 1 buoy-c
says "write-behind: broken"
# What is broken and not asked about is said, and does not count.
audit 0 buoy-c --only inquiry,buffer
# What eject would do is not done unasked.
audit 0 buoy-d
says "eject: not asked"
