# What can be done to the gadget of known truth while it works, and what the kernel and the data show of it: power cut,
# plug pulled with its own power, card pulled, put back and changed, endpoints halted, commands never answered, resets.
slow=slow.model
sed 's/write rate = 1.0 MB/write rate = 0.05 MB/' /rig/models/buoy-d.model >$slow
tr '\0' 'A' </dev/zero | head -c 16384 >old
tr '\0' 'B' </dev/zero | head -c 16384 >new
put() { dd if="$1" of="$gadget" bs=16k count=1 seek="${2:-0}" oflag=direct 2>/dev/null || fail "cannot write $1"; }
flushed() { # by its own descriptor: the write and then the flush
	dd if="$1" of="$gadget" bs=16k count=1 seek="${2:-0}" oflag=direct conv=fsync,notrunc 2>/dev/null || fail "cannot flush $1"
}
get() { dd if="$gadget" bs=16k count=1 skip="${1:-0}" iflag=direct 2>/dev/null; }
blocks_of() { tr -dc "$2" <"$1" | wc -c | awk '{ print $1 / 512 }'; }
sequence() { cat /sys/block/${gadget#/dev/}/diskseq; }

note "power is cut with a full buffer"
model_plug -c card.img $slow
flushed old
flushed old 1
put new
model_tell cut
model_node
get >after
fresh=$(blocks_of after B)
is "blocks that are neither old nor new" "$(($(blocks_of after A) + fresh))" 32
between "blocks that reached the card before the cut" "$fresh" 0 24
cmp -s after old && note "none of 32 blocks had reached the card" || note "$fresh of 32 blocks had reached the card"
get 1 | cmp -s - old || fail "what was flushed is gone"
flushed new
model_tell cut
model_node
get | cmp -s - new || fail "what was flushed before the second cut is gone"

note "the plug is pulled, its own power stays"
before=$(sequence)
put old
model_tell unplug
model_tell state
echo "$answer" | grep -q "enabled=no" || fail "still enabled: $answer"
! echo "$answer" | grep -q "waiting_blocks=0" || fail "nothing waits: $answer"
sleep 1
model_tell state
echo "$answer" | grep -q "waiting_blocks=0" || fail "the card got nothing while unplugged: $answer"
model_tell plug
model_node
get | cmp -s - old || fail "what was in the buffer is gone"
[ "$(sequence)" -gt "$before" ] || fail "the kernel takes it for the same drive"

note "the card is pulled, put back, and changed for another"
model_tell card out
get >/dev/null && fail "a read without a card succeeds"
wait_for 30 sh -c "[ \$(blockdev --getsize64 $gadget 2>/dev/null || echo 0) = 0 ]" || fail "the kernel still believes in a medium"
model_tell card in
model_node
get | cmp -s - old || fail "the card holds something else than before"
before=$(sequence)
model_tell card out
model_tell card in other.img capacity=8Mi
wait_for 60 sh -c "[ \$(blockdev --getsize64 $gadget) = 8388608 ]" || fail "the kernel does not see the other card's size"
[ "$(sequence)" -gt "$before" ] || fail "the kernel takes the other card for the first"
get | tr -d '\377' | cmp -s - /dev/null || fail "the other card is not erased"
model_tell card out
model_tell card in card.img capacity=32Mi
wait_for 60 sh -c "[ \$(blockdev --getsize64 $gadget) = 33554432 ]" || fail "the kernel does not see the first card's size"
get | cmp -s - old || fail "the first card holds something else than before"

note "endpoints are halted"
errors() { cat /sys/block/${gadget#/dev/}/device/ioerr_cnt; }
timeouts() { cat /sys/block/${gadget#/dev/}/device/iotmo_cnt; }
model_tell stall in
get | cmp -s - old || fail "a halted IN endpoint lost data"
model_tell stall out
get | cmp -s - old || fail "a halted OUT endpoint lost data"

note "a read is never answered: the kernel gives up after 30 s, resets, and asks again"
before=$(($(timeouts)))
started=$(cut -d. -f1 /proc/uptime)
model_tell silence 1 28
get | cmp -s - old || fail "the read after a timeout is wrong"
took=$(($(cut -d. -f1 /proc/uptime) - started))
between "the kernel's patience in seconds" "$took" 29 60
[ $(($(timeouts))) -gt "$before" ] || fail "the kernel counts no timeout"
grep -q "end=silent" $truth || fail "the truth log has no silent command"

# Not so often that one command meets all of them: the kernel tries it six times, and each reset costs it two.
note "the bus is reset under reads, writes and flushes"
given_up() { grep -c "end=given-up" $truth; }
while :; do bus_gadget reset "$gadget" 2>/dev/null; sleep 0.9; done &
resetting=$!
n=0
while [ $n -lt 12 ] || { [ $n -lt 200 ] && [ "$(given_up)" -lt 5 ]; }; do
	flushed new $((n % 4))
	get $((n % 4)) | cmp -s - new || fail "wrong data after a reset"
	n=$((n + 1))
done
kill $resetting
wait $resetting 2>/dev/null
between "commands that a reset ended" "$(given_up)" 5 100000
note "$(grep -c "event t=[0-9]* reset" $truth) resets, $(given_up) commands given up in $n rounds, no wrong byte"

run 1 bus_gadget tell card in lun=7
says "there is no such logical unit"
run 1 bus_gadget tell dance
says "there is no such order"
model_remove
run 3 bus_gadget tell state
