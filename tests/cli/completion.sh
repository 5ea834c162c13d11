#!/bin/sh
# Completion offers the commands, each command's options and the values worth offering.
. "$(dirname "$0")/lib.sh"
command -v bash >/dev/null || skip "needs bash"
run 0 "$BLKASSAY" help --completion bash
cp "$out" "$tmp/completion"
run 0 bash -n "$tmp/completion"

offers() { # WORDS... : what is offered for the last of them, one a line
	bash -c '
		compopt() { :; }
		. "$1"; shift
		COMP_WORDS=("$@") COMP_CWORD=$(($# - 1))
		_blkassay
		printf "%s\n" "${COMPREPLY[@]}"' bash "$tmp/completion" "$@" | sort | tr '\n' ' '
}
is() { [ "$1" = "$2" ] || fail "offered '$1', not '$2'"; }

is "$(offers blkassay sw)" "sweep "
is "$(offers blkassay sweep --p)" "--page --passes --phases "
is "$(offers blkassay sweep --direction r)" "read read,write "
is "$(offers blkassay verify --only w)" "write "
is "$(offers blkassay report --pa)" "--page "
is "$(offers blkassay report a.assay --csv x)" " " # files: left to the shell
is "$(offers blkassay help rep)" "report "
is "$(offers blkassay help --completion z)" "zsh "

# Every option of every command, and none else.
"$BLKASSAY" help | awk '/^  [a-z]/ { print $1 }' >"$tmp/commands"
while read -r command; do
	wanted=$("$BLKASSAY" help "$command" | sed -n 's/^  \(--[a-z-]*\).*/\1/p' | sort | tr '\n' ' ')
	is "$(offers blkassay "$command" --)" "$wanted"
	for shell in zsh fish; do
		"$BLKASSAY" help --completion $shell >"$tmp/other" || fail "no completion for $shell"
		for option in $wanted; do
			grep -qF -e "${option#--}" "$tmp/other" || fail "completion for $shell misses $option of $command"
		done
	done
done <"$tmp/commands"
if command -v zsh >/dev/null; then "$BLKASSAY" help --completion zsh | zsh -n || fail "zsh refuses its completion"; fi
if command -v fish >/dev/null; then "$BLKASSAY" help --completion fish | fish -n || fail "fish refuses its completion"; fi
run 2 "$BLKASSAY" help --completion tcl
says "takes bash, zsh or fish"
run 2 "$BLKASSAY" help --completion
