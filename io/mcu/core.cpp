#include "io/mcu/core.hpp"

#include <fcntl.h>
#include <fmt/core.h>
#include <unistd.h>

#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <mutex>
#include <new>

namespace stillrotor::io::mcu {
namespace {

constexpr std::size_t address_space = 0x10000;

// simavr indexes its RAM and flash with whatever 16-bit address the firmware computes and complains
// only afterwards. With the whole address space behind them a wild pointer stays harmless.
std::uint8_t* widen(std::uint8_t* memory, std::size_t used, int filler) {
  auto* wide = static_cast<std::uint8_t*>(std::realloc(memory, address_space + 4));
  if (wide == nullptr) throw std::bad_alloc();
  std::memset(wide + used, filler, address_space + 4 - used);
  return wide;
}

// simavr prints a line on parts that lack one of its ports, past its own logger.
class QuietOutput {
 public:
  QuietOutput() : saved_(::dup(STDOUT_FILENO)) {
    std::fflush(stdout);
    if (const int nowhere = ::open("/dev/null", O_WRONLY); saved_ >= 0 && nowhere >= 0) {
      ::dup2(nowhere, STDOUT_FILENO);
      ::close(nowhere);
    }
  }
  ~QuietOutput() {
    std::fflush(stdout);
    if (saved_ < 0) return;
    ::dup2(saved_, STDOUT_FILENO);
    ::close(saved_);
  }
  QuietOutput(const QuietOutput&) = delete;
  QuietOutput& operator=(const QuietOutput&) = delete;

 private:
  int saved_;
};

}  // namespace

Core::Core(const Part& part, std::uint32_t clock_Hz) : bits_write_all_(part.bits_write_all) {
  static std::once_flag once;
  std::call_once(once, [] { avr_global_logger_set(&Core::log); });
  avr_ = avr_make_mcu_by_name(std::string(part.name).c_str());
  if (avr_ == nullptr) throw std::bad_alloc();
  {
    const QuietOutput quiet;
    avr_init(avr_);
  }
  avr_->data = widen(avr_->data, std::size_t{avr_->ramend} + 1, 0);
  avr_->flash = widen(avr_->flash, flash_size(), 0xff);
  avr_->frequency = clock_Hz;
  avr_->run_cycle_limit = ~avr_cycle_count_t{0};
  avr_->custom.data = this;
}

Core::~Core() {
  // avr_terminate() leaves the interrupt lines' names, the register lines, the pool of both and the
  // part itself behind.
  auto& table = avr_->interrupts;
  for (unsigned i = 0; i < table.vector_count; ++i)
    avr_free_irq(table.vector[i]->irq, AVR_INT_IRQ_COUNT);
  avr_free_irq(table.irq, AVR_INT_IRQ_COUNT);
  for (auto& io : avr_->io) avr_free_irq(io.irq, AVR_IOMEM_IRQ_ALL + 1);
  // A watchdog that cannot interrupt stands in no table, and is listened to all the same.
  for (avr_io_t* io = avr_->io_port; io != nullptr; io = io->next) {
    if (std::strcmp(io->kind, "watchdog") != 0) continue;
    avr_int_vector_t& vector = reinterpret_cast<avr_watchdog_t*>(io)->watchdog;
    if (vector.vector == 0)
      for (avr_irq_t& irq : vector.irq) std::free(irq.hook);
  }
  avr_terminate(avr_);
  std::free(avr_->irq_pool.irq);
  std::free(avr_);
}

std::uint16_t Core::opcode() const noexcept {
  const std::uint8_t* at = avr_->flash + (avr_->pc & (address_space - 1));
  return static_cast<std::uint16_t>(at[0] | at[1] << 8);
}

Write Core::begin_write(Address address, std::uint8_t value) noexcept {
  const std::uint16_t op = opcode();
  const bool is_out = (op & 0xf800) == 0xb800;                             // one cycle, others two
  const bool is_bit = (op & 0xff00) == 0x9a00 || (op & 0xff00) == 0x9800;  // SBI, CBI
  const Write write{address, value,
                    static_cast<std::uint8_t>(is_bit && !bits_write_all_ ? 1u << (op & 7) : 0xff),
                    avr_->cycle + (is_out ? 1 : 2)};
  catch_up(write.at);
  return write;
}

Cycle Core::begin_read() noexcept {
  // LDS, LD, LDD and POP read in their second cycle; IN and the bit tests in their first.
  const std::uint16_t op = opcode();
  const bool is_load = (op & 0xfc00) == 0x9000 || (op & 0xd000) == 0x8000;
  const Cycle at = avr_->cycle + (is_load ? 1 : 0);
  catch_up(at);
  return at;
}

// An instruction moves simavr's clock only when it ends; events inside it come first.
void Core::catch_up(Cycle to) noexcept {
  const auto* next = avr_->cycle_timers.timer;
  if (next == nullptr || next->when > to) return;
  const Cycle now = avr_->cycle;
  avr_->cycle = to;
  avr_cycle_timer_process(avr_);
  avr_->cycle = now;
}

void Core::fail(std::string sentence) noexcept {
  if (failure_.empty()) failure_ = std::move(sentence);
  avr_->state = cpu_Crashed;
  request_stop();
  avr_->run_cycle_count = 0;
}

std::string Core::where() const {
  return fmt::format("at PC 0x{:04x}, {:.6f} ms", avr_->pc,
                     static_cast<double>(avr_->cycle) * 1e3 / avr_->frequency);
}

// simavr reports what a processor cannot do by a log line only, and carries on.
void Core::log(avr_t* avr, int level, const char* format, std::va_list) noexcept {
  if (avr == nullptr || avr->custom.data == nullptr || level > LOG_ERROR) return;
  Core& core = of(avr);
  const auto says = [format](const char* words) { return std::strstr(format, words) != nullptr; };
  if (says("Invalid Opcode"))
    core.fail(fmt::format("The firmware ran into opcode 0x{:04x}, which is no instruction, {}.",
                          core.opcode(), core.where()));
  else if (says("Invalid write") || says("Invalid read"))
    core.fail(fmt::format("The firmware reached beyond the end of RAM (0x{:04x}) {}.", avr->ramend,
                          core.where()));
  else if (says("%s\n") && avr->pc >= avr->flashend)
    core.fail(fmt::format("The firmware jumped outside the {} bytes of program memory, {}.",
                          core.flash_size(), core.where()));
  else if (says("out of timers") || says("pool is full") || says("nested stack"))
    core.fail(fmt::format("The simulator ran out of event slots {}.", core.where()));
}

}  // namespace stillrotor::io::mcu
