# Lists of commands, and the comparison of what a model and the same model on the bus answer; loaded by the scenarios that
# compare them.
#
#   same LIST...   asks both $model and $gadget for these lists (cases, common, blocks), demands the same answers, line by
#                  line; they are in on-bus, and their number so far in $compared
cat >common <<'END'
none 0 00 00 00 00 00 00
in 36 12 00 00 00 24 00
in 255 12 00 00 00 FF 00
in 255 12 01 00 00 FF 00
in 255 12 01 80 00 FF 00
in 255 12 01 83 00 FF 00
in 8 25 00 00 00 00 00 00 00 00 00
in 32 9E 10 00 00 00 00 00 00 00 00 00 00 00 20 00 00
in 192 1A 00 3F 00 C0 00
in 192 1A 00 08 00 C0 00
in 255 1A 00 3F 00 FF 00
in 4 1A 00 3F 00 04 00
none 0 00 00 00 00 00 00
in 192 5A 00 3F 00 00 00 00 00 C0 00
in 18 03 00 00 00 12 00
none 0 C0 00 00 00 00 00
none 0 00 00 00 00 00 00
in 18 03 00 00 00 12 00
in 96 23 00 00 00 00 00 00 00 60 00
none 0 00 00 00 00 00 00
none 0 1E 00 00 00 01 00
none 0 1B 00 00 00 02 00
none 0 00 00 00 00 00 00
none 0 00 00 00 00 00 00
none 0 1E 00 00 00 00 00
none 0 1B 00 00 00 03 00
none 0 00 00 00 00 00 00
none 0 00 00 00 00 00 00
none 0 35 00 00 00 00 00 00 00 00 00
out 4096 2A 00 00 00 00 40 00 00 08 00
in 4096 28 00 00 00 00 40 00 00 08 00
in 512 28 00 00 00 FF FF 00 00 02 00
in 1024 28 00 00 00 FF FF 00 00 02 00
none 0 00 00 00 00 00 00
in 18 03 00 00 00 12 00
END
# Hn, Hi, Ho against Dn, Di, Do: BOT 1.0, 6.7; after status 02 the host resets, and is told so.
cat >cases <<'END'
none 0 00 00 00 00 00 00
none 0 28 00 00 00 00 40 00 00 01 00
none 0 00 00 00 00 00 00
none 0 2A 00 00 00 00 40 00 00 01 00
none 0 00 00 00 00 00 00
in 512 00 00 00 00 00 00
in 1024 28 00 00 00 00 40 00 00 01 00
in 512 28 00 00 00 00 40 00 00 01 00
in 512 28 00 00 00 00 40 00 00 02 00
none 0 00 00 00 00 00 00
in 512 2A 00 00 00 00 40 00 00 01 00
none 0 00 00 00 00 00 00
out 512 00 00 00 00 00 00
out 512 28 00 00 00 00 40 00 00 01 00
none 0 00 00 00 00 00 00
out 1024 2A 00 00 00 00 40 00 00 01 00
out 512 2A 00 00 00 00 40 00 00 01 00
out 512 2A 00 00 00 00 40 00 00 02 00
none 0 00 00 00 00 00 00
in 512 28 00 00 00 00 40 00 00 01 00
END
{
	for block in 0 1 2 3 4 5 6; do
		echo "write $((block * 65536)) 65536"
		echo "read $((block * 65536)) 65536"
		echo "read $((block * 65536)) 4096"
		# One more each time, so that what strikes each N-th time strikes all kinds.
		for again in $(seq $block); do echo "in 4096 28 00 00 00 00 $(printf %02x $again) 00 00 08 00"; done
		echo "none 0 00 00 00 00 00 00"
	done
	echo "flush"
	echo "read 1048064 1024"
	echo "none 0 00 00 00 00 00 00"
} >blocks

compared=0
same() { # LIST...: to model and bus
	{ echo recount; cat "$@"; } >list
	lines=$(wc -l <list)
	bus_gadget ask "model:$model" <list >on-model 2>$err || fail "the model does not answer"
	bus_gadget ask "$gadget" <list >on-bus 2>$err || fail "the gadget does not answer"
	if ! cmp -s on-model on-bus; then
		diff on-model on-bus >$out
		[ -s $out ] || cat on-model on-bus >$out
		fail "$model: what comes back differs (< model, > bus)"
	fi
	! grep "refused by the host: No medium" on-bus >$out || fail "$model: commands that never reached it say nothing"
	compared=$((compared + lines))
}

# In $asleep -s: the faults sleep until the kernel has looked at the drive.
asleep=""
# What strikes each N-th time strikes each seventh, so that every kind of read and write meets it.
same_for() { # FAULT MODELS...
	for fault; do
		sed 's/ = 1 in [0-9]*$/ = 1 in 7/' "$fault" >"$(basename "$fault")"
		model_plug $asleep "$(basename "$fault")"
		[ -z "$asleep" ] || model_wake
		same common blocks
		note "$(basename "$fault" .model): $(grep -c host=3 on-bus) timeouts, $(grep -c host=7 on-bus) transport errors, $(grep -c "sense='[^n]" on-bus) with sense"
		cp on-bus "$results/$(basename "$fault" .model).txt"
		model_remove
	done
	note "$compared answers compared"
}
