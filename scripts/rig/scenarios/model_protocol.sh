# The same commands to a gadget on the bus, through usb-storage and SG_IO, and to the same model on its virtual clock: what
# comes back is the same, line by line: the thirteen cases where host and device disagree, sense and its clearing,
# attentions, errors, and the faults of the protocol, but for those that cost the kernel minutes (model_timeouts).
# Time limit: 900 s
. /rig/same.sh
model_plug buoy-d
same cases common blocks
note "buoy-d: as the model in $compared answers, $(grep -c host=7 on-bus) of them phase errors"
is "phase errors: the six cases, and a read across the end" "$(grep -c host=7 on-bus)" 7
model_remove
set --
for fault in /rig/models/fault-*.model; do
	# What stale reads give depends on how much has left the buffer by then, and real time is not the model's: see below.
	grep -q "unknown command\|answer = lost\|stale reads" "$fault" || set -- "$@" "$fault"
done
# Where nothing but a flush and a full buffer empty it, stale reads depend on the commands alone.
sed 's/write behind = 32Ki/&\n    drain = on-flush/' /rig/models/fault-stale-reads.model >/tmp/fault-stale-reads-until-flush.model
set -- "$@" /tmp/fault-stale-reads-until-flush.model
same_for "$@"
# Of 64 KiB the half that fits the buffer is read as it was before: 32 KiB of A5h, 4 KiB of it from an earlier write, and 28 KiB
# of an erased card, FFh (their CRC-32 by Python's zlib).
grep -qx "read 0 65536: fine got=65536 crc=9479FD72" "$results/fault-stale-reads-until-flush.txt" || fail "no stale read"

# What the kernel's driver never does, by hand: an invalid wrapper halts both endpoints until a reset, the class's own reset
# ends a read in the middle and an unanswered command, and one that is ignored leaves the gadget dead.
by_hand() { # MODEL FILE: what it shows, as one line
	model_plug "$1"
	run 0 bus_gadget bare "$gadget"
	cp $out "$results/bare-$(basename "$1" .model).txt"
	shown=$(tr '\n' ';' <$out)
	model_node # its driver has it back
	model_remove
}
halted="invalid wrapper: 31 bytes;in: stall;out: stall;in, cleared without a reset: stall;reset: 0 bytes;"
by_hand buoy-d
is "the gadget by hand" "$shown" "highest logical unit: 0;then: ready;${halted}then: ready;first block of a read: 512 bytes;reset: 0 bytes;then: ready;unknown command: status 1;reset: 0 bytes;then: ready;"
sed 's/unknown command = silence/&\n    prevent accepted = yes/' /rig/models/fault-silent-unknown.model >silent.model
by_hand silent.model
is "the silent gadget by hand" "$shown" "highest logical unit: 0;then: ready;${halted}then: ready;first block of a read: 512 bytes;reset: 0 bytes;then: ready;unknown command: nothing;reset: 0 bytes;then: ready;"
by_hand /rig/models/fault-ignores-reset.model
is "the gadget that ignores resets by hand" "$shown" "highest logical unit: 0;then: ready;${halted}then: no answer;first block of a read: stall;reset: 0 bytes;then: no answer;unknown command: stall;reset: 0 bytes;then: no answer;"
