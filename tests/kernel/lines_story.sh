# What the program finds out at the lines themselves, outside a run: how the script's gates answer Halls
# that are held, and whether outputs are joined to inputs as listed. How long anything takes is not
# measured here: the script at the other end is slow.
. /simulated_lines.sh
pull $STOP up

# 1. The Halls held by the program, and the script's gates, on for as long as the code stands.
check_lines() { # OPTION...; in a subshell
  exec /program check $bench --wires-are-set "$@" --set "cycle.period=5 ms" \
    --set "cycle.delay=5 ms" --set cycle.core=0 --set controller.capture_core=0 \
    --set harness.stop_circuit.bias=as_is --set harness.bus_dead.bias=as_is >/tmp/said 2>&1
}
arrangement() { # OPTION...
  rm -f /tmp/status
  : >/tmp/said
  ( (check_lines --arrangement "$@"); echo $? >/tmp/status) &
  local on="" opened=""
  while [ ! -s /tmp/status ]; do
    [ -n "$opened" ] || opened=$(grep "Open the throttle" /tmp/said)
    two=""
    [ -z "$opened" ] || commutate
    if [ "$two" != "$on" ]; then
      for line in $on; do pull "$line" down; done
      for line in $two; do pull "$line" up; done
      on=$two
    fi
    usleep 20000
  done
  cat /tmp/said
}
arrangement
check "the script is wired to drive forward" "$(cat /tmp/status)" = 0
check "and the 36 arrangements are as they should" \
  "$(grep -c "3 drive forward, 3 backwards, 12 at half the torque, 18" /tmp/said)" = 1
arrangement --set harness.lines.hall.U.offset=$HALL_V --set harness.lines.hall.V.offset=$HALL_U
check "swapped Halls are found" "$(cat /tmp/status)" = 2
check "and named" "$(grep -c "To drive forward: exchange Hall U and Hall V" /tmp/said)" = 1
levels $driven
check "afterwards the lines are the kernel's" "$all" = 111111

# 2. The script joins outputs to inputs, two of them crosswise; the Halls' transistors invert.
rm -f /tmp/status
( (check_lines --calibrate /tmp/lines.yaml --allow-soft); echo $? >/tmp/status) &
joined=""
while [ ! -s /tmp/status ]; do
  levels $HALL_V $HALL_U $HALL_W $BRAKE $KEY
  if [ "$all" != "$joined" ]; then
    joined=$all
    for input in $UH $UL $VH $VL $WH; do
      wire=${all%"${all#?}"} all=${all#?}
      case $input$wire in
        ${UH}0 | ${UL}0 | ${VH}0 | ${VL}1 | ${WH}1) pull "$input" up ;;
        *) pull "$input" down ;;
      esac
    done
  fi
done
cat /tmp/said
check "wires that are not as listed are refused" "$(cat /tmp/status)" = 2
check "by their names" \
  "$(grep -c "hall.U to gates.UH and hall.V to gates.UL are swapped" /tmp/said)" = 1
check "and nothing else is wrong" "$(grep -c " to gates" /tmp/said)" = 1
check "nothing is written" ! -e /tmp/lines.yaml

echo "[  PASSED  ] $checked tests."
