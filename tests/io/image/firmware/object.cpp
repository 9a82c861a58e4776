// Variables in namespaces and classes.
#include <stdint.h>

namespace motor {
struct Base {
  int16_t offset = -5;
};
class Loop : public Base {
 public:
  void turn() {
    static volatile int32_t turns = 77;
    turns = turns;
    offset = static_cast<int16_t>(offset + 0);
  }
  static volatile float limit;
  float integral = 6.25f;
};
volatile float Loop::limit = 2.5f;
volatile uint8_t state = 9;
Loop loop;
}  // namespace motor

extern "C" int main() {
  for (;;) {
    motor::Loop::limit = motor::Loop::limit;
    motor::state = motor::state;
    motor::loop.turn();
    motor::loop.integral = motor::loop.integral + static_cast<float>(motor::state) * 0.0f;
  }
}
