# As model_protocol, for the faults on which the kernel waits: for a status that is lost, and for commands that it sends at
# every opening and that get no answer. Its patience is 30 s a command, and it tries six times: so the faults sleep while it
# looks at the drive for the first time, which took it four minutes else.
# Time limit: 3600 s
. /rig/same.sh
set --
for fault in /rig/models/fault-*.model; do
	! grep -q "unknown command\|answer = lost" "$fault" || set -- "$@" "$fault"
done
[ $# = 3 ] || fail "$# models, not 3"
asleep=-s
same_for "$@"
