# What the stories on simulated lines share: the shipped wired bench's lines, and this script at their
# other end.
set -u
bench=/configs/benches/orchard-cart-hub-wired.yaml  # its wiring, offset by offset:
UH=5 UL=6 VH=12 VL=13 WH=16 WL=19 HALL_U=20 HALL_V=21 HALL_W=26 KEY=17 BRAKE=27 STOP=22 DEAD=23 DOG=24

pull() { echo "pull-$2" >"$SIM/sim_gpio$1/pull"; }
level() { read -r LEVEL <"$SIM/sim_gpio$1/value"; }
levels() { all=""; for line in "$@"; do level "$line"; all="$all$LEVEL"; done; }
checked=0
check() { # WHAT, then a test
  local what=$1
  shift
  [ "$@" ] || { echo "FAILED: $what: [ $* ]"; cat /tmp/said; exit 1; }
  echo "ok: $what: [ $* ]"
  checked=$((checked + 1))
}
commutate() { # by the Halls at the lines, inverted: which two gates are to be on
  levels $HALL_U $HALL_V $HALL_W
  case $all in
    011) two="$VH $WL" ;;
    001) two="$VH $UL" ;;
    101) two="$WH $UL" ;;
    100) two="$WH $VL" ;;
    110) two="$UH $VL" ;;
    010) two="$UH $WL" ;;
    *) two="" ;;
  esac
}
# Gates off. What the bench drives is pulled against its safe level, so that the two can be told apart:
# at an inverted line, the Hall wire's high is low.
for line in $UH $UL $VH $VL $WH $WL $STOP; do pull $line down; done
for line in $HALL_U $HALL_V $HALL_W $KEY $BRAKE $DOG $DEAD; do pull $line up; done
driven="$HALL_U $HALL_V $HALL_W $KEY $BRAKE $DOG"
