// Firmware written as a class: counts its ticks, tells the third, throws in the fourth.
#include <stdexcept>
#include <string>

#include "io/hostfw/stillrotor_firmware.hpp"

namespace {

class Ticking final : public stillrotor::Firmware {
 public:
  explicit Ticking(stillrotor::Board board) : board_(board) { board_.timer(0, 1e-3); }
  void timer(int) override {
    if (++ticks_ == 3) board_.text(("ticks " + std::to_string(ticks_) + "\n").c_str());
    if (ticks_ == 4) throw std::runtime_error("out of ideas");
  }

 private:
  stillrotor::Board board_;
  int ticks_ = 0;
};

}  // namespace

STILLROTOR_FIRMWARE(Ticking, "ticking")
