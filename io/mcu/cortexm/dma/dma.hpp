// One DMA controller: eight streams between memory and peripherals.
//
// A request is served at its cycle, one item at a time, by the same bus that the processor uses.
//
// Source RM0090 (STM32F405 reference manual), DMA controller; from memory.
// Not    the cycles that a transfer takes from the bus and waits for it; FIFO and bursts (items go
// one
//        by one, each with the peripheral's size at its end and the memory's at the other);
//        arbitration between streams of one cycle (they are served as they come).
// RT     safe.
#pragma once

#include <array>
#include <optional>

#include "io/mcu/cortexm/bus.hpp"
#include "io/mcu/cortexm/scheduler.hpp"

namespace stillrotor::io::cortexm {

/// What the controller reads and writes by; and who hears of it.
class DmaListener {
 public:
  virtual ~DmaListener() = default;
  /// As Bus's.
  virtual bool load(Word address, unsigned size, Word& value, Cycle) noexcept = 0;
  virtual bool store(Word address, unsigned size, Word value, Cycle) noexcept = 0;
  virtual void interrupt(unsigned stream, bool high, Cycle) noexcept = 0;
  /// A peripheral that has been waiting may ask now.
  virtual void enabled(unsigned /*stream*/, Cycle) noexcept {}
};

class Dma final : public Peripheral {
 public:
  /// moves_memory: it can copy from memory to memory (the second controller).
  Dma(Scheduler&, DmaListener&, bool moves_memory);
  void reset(Cycle at) noexcept override;
  /// Of the peripheral that stands at that stream's channel. How many items are left behind the one
  /// that was carried, 0: that was the last; nullopt: none was.
  std::optional<Word> request(unsigned stream, unsigned channel, Cycle at) noexcept;

  Word read(Word offset, Cycle at) noexcept override;
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override;

 private:
  struct Stream {
    Word control = 0, items = 0, peripheral = 0, fifo = 0x21, flags = 0;
    std::array<Word, 2> memory{};
    Word reload = 0;  // of items
    Word peripheral_at = 0, memory_at = 0;
    bool high = false;  // its interrupt, as told
  };
  void enable(unsigned stream, Cycle at) noexcept;
  std::optional<Word> move_one(unsigned stream, Cycle at) noexcept;
  bool carry(Stream&, Cycle at) noexcept;
  void over(unsigned stream, Cycle at) noexcept;
  void show(unsigned stream, Cycle at) noexcept;
  void on_copy(Cycle at) noexcept;

  Scheduler& scheduler_;
  DmaListener& listener_;
  const bool moves_memory_;
  const unsigned copy_event_;
  std::array<Stream, 8> streams_;
};

}  // namespace stillrotor::io::cortexm
