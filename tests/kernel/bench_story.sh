# The whole program on simulated lines, and at the other end of them this script: a six-step
# controller that sees nothing but the lines' levels and does nothing but pull them. Ends with the
# words that vm.sh looks for.
. /simulated_lines.sh
until_level() { # LINE LEVEL WHAT; for a minute at most
  local tries=0
  until level "$1" && [ "$LEVEL" = "$2" ]; do
    tries=$((tries + 1))
    [ $tries -lt 60000 ] || check "$3 in time" "$LEVEL" = "$2"
    usleep 1000
  done
}
# An emulated processor is slow, and has one core. The pulls of the two inputs are the script's.
run() { # FOLDER; in a subshell, whose process the program becomes
  exec /program run $bench /on-lines.yaml --out "$1" --allow-soft --quiet \
    --set "cycle.period=5 ms" --set "cycle.delay=5 ms" --set cycle.core=0 \
    --set controller.capture_core=0 --set "record.rate=1 kHz" \
    --set harness.stop_circuit.bias=as_is --set harness.bus_dead.bias=as_is >/tmp/said 2>&1
}

# 1. The stop circuit is open.
(run /tmp/stopped)
check "an open stop circuit refuses the run" $? = 4
check "and it says so" "$(grep -c "emergency stop's circuit is open" /tmp/said)" = 1
check "and it leaves no folder" ! -e /tmp/stopped
pull $STOP up

# 2. Killed in the midst of it.
run /tmp/killed &
until_level $KEY 0 "the key is off"
until_level $KEY 1 "the key is on"
levels $BRAKE
check "the brake's line is held against its pull" "$all" = 0
kill -9 $!
wait $!
check "killed" $? = 137
levels $driven
check "a killed program's lines are the kernel's: the pulls, not the safe levels" "$all" = 111111
check "and there is no verdict" ! -e /tmp/killed/result.json

# 3. A drive to its end.
edges=0
gate() { pull "$1" "$2"; edges=$((edges + 1)); }
step() {
  commutate
  [ -n "$two" ] || return
  set -- $two
  gate "$1" up
  gate "$2" up
  usleep 1000
  gate "$1" down
  gate "$2" down
}
note_key() { # and what else stands while it is off: at the change, lest it be over
  level $KEY
  [ "$LEVEL" = "${keys##* }" ] && return
  keys="$keys $LEVEL"
  [ "$LEVEL" = 1 ] || { levels $HALL_U $HALL_V $HALL_W $BRAKE; safe_levels=$all; }
}
( (run /tmp/driven); echo $? >/tmp/status) &
keys=1 halls="" hall_changes=0 dog="" dog_changes=0 safe_levels=""
while [ ! -s /tmp/status ]; do
  note_key
  if [ "$keys" = "1 0 1" ]; then
    levels $HALL_U $HALL_V $HALL_W
    [ "$all" = "$halls" ] || { halls=$all; hall_changes=$((hall_changes + 1)); }
    levels $DOG
    [ "$all" = "$dog" ] || { dog=$all; dog_changes=$((dog_changes + 1)); }
    [ $edges -ge 160 ] || step
  fi
  usleep 4000
done
note_key
cat /tmp/said
number() { sed -n "s/^ *\"$1\": \([0-9]*\),*$/\1/p" /tmp/driven/run.json; }
check "the run ended in order" "$(cat /tmp/status)" = 0
check "and its own papers say so" \
  "$(grep -c -e '"interrupted": false' -e '"ended": ""' /tmp/driven/run.json)" = 2
check "in a result" "$(grep -c '"clock": "wall"' /tmp/driven/result.json)" = 1
check "the controller drove" $edges -ge 160
check "every edge came to the bench" "$(number gate_edges)" = $edges
check "none was lost on the wires" "$(number lost_edges)" = 0
/program record export /tmp/driven --vcd /tmp/driven/gates.vcd
# Behind the levels at the start, "!" to "&" are the gates.
check "every edge is in the record" \
  "$(awk '/^\$end$/ {on = 1} on && /^[01][!-&]$/ {n++} END {print n}' /tmp/driven/gates.vcd)" = $edges
check "Halls moved at the lines" $hall_changes -ge 20
check "the watchdog was kicked" $dog_changes -ge 20
check "key: nobody, safe, on, safe, nobody" "$keys" = "1 0 1 0 1"
check "at the end Halls and brake stood at their safe levels" "$safe_levels" = 0000
/program record export /tmp/driven --csv /tmp/speed.csv --signals speed
set -- $(awk -F, \
  'NR == 2 {first = $2} NR > 1 && $2 > most {most = $2} END {print first, most}' /tmp/speed.csv)
check "the gates drove the cart, from $1 to $2 rad/s" \
  "$(awk -v a="$1" -v b="$2" 'BEGIN {print (b > 1.1 * a)}')" = 1

echo "[  PASSED  ] $checked tests."
