// After power() a controller allocates nothing: counted by replacing the global allocator.
#include <gtest/gtest.h>

#include <cstdlib>
#include <new>

#include "io/standin/standin.hpp"

namespace {
long allocations = 0;
}
// Not inlined: the compiler would otherwise see a new that it knows meet a free.
[[gnu::noinline]] void* operator new(std::size_t size) {
  ++allocations;
  if (void* p = std::malloc(size)) return p;
  throw std::bad_alloc();
}
[[gnu::noinline]] void operator delete(void* p) noexcept { std::free(p); }
[[gnu::noinline]] void operator delete(void* p, std::size_t) noexcept { std::free(p); }

namespace stillrotor::io {
namespace {

/// A motor at rest and a driver who opens the throttle, breaks its wire and turns the key twice.
class StillWorld final : public World {
 public:
  void drive(const Edge&) noexcept override { ++edges; }
  double volts(ChannelId id, Time) noexcept override {
    return id == channel::throttle ? throttle_V : id == channel::bus_voltage ? 2.4 : 2.5;
  }
  Level level(LineId id, Time) noexcept override {
    return id == line::hall_U || (id == line::key && key) ? Level::high : Level::low;
  }
  void text(Time, std::string_view) noexcept override { ++words; }
  double throttle_V = 0.85;
  bool key = true;
  long edges = 0, words = 0;
};

void expect_no_allocation(std::unique_ptr<SimulatedController> controller) {
  StillWorld world;
  Time now{};
  controller->power(5.0, now, world);
  const auto run_ms = [&](int ms) {
    for (const Time end = now + std::chrono::milliseconds(ms); now < end;)
      now = controller->run(std::min(end, now + std::chrono::microseconds(100)));
  };
  const long before = allocations;
  run_ms(50);
  world.throttle_V = 2.0;
  run_ms(50);
  controller->deliver({now, line::encoder_A, Level::high});
  run_ms(50);
  world.throttle_V = 0.0;
  run_ms(20);
  world.key = false;
  run_ms(20);
  EXPECT_EQ(allocations, before);
  EXPECT_GT(world.edges, 100);
  EXPECT_GT(world.words, 0) << "the stop was not spoken, so its path was not walked";
}

TEST(SixStep, AllocatesNothingAfterPowerUp) { expect_no_allocation(make_six_step({})); }
TEST(FieldOriented, AllocatesNothingAfterPowerUp) { expect_no_allocation(make_field_oriented({})); }
TEST(VoltsPerHertz, AllocatesNothingAfterPowerUp) {
  expect_no_allocation(make_volts_per_hertz({}));
}

}  // namespace
}  // namespace stillrotor::io
