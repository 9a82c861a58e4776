#include "io/mcu/workload.hpp"

#include <fmt/core.h>

#include "io/mcu/cortexm/chip.hpp"

namespace stillrotor::io {
namespace mcu {

std::string described(const Workload& w) {
  const auto share = [&](std::uint64_t part) {
    return w.cycles == 0 ? 0.0 : 100.0 * static_cast<double>(part) / static_cast<double>(w.cycles);
  };
  std::string text =
      fmt::format("Processor: {:.1f} % of the cycles in handlers, {:.1f} % asleep.\n",
                  share(w.in_handlers), share(w.asleep));
  if (!w.interrupts.empty())
    text += fmt::format("  {:9} {:>10} {:>9} {:>9} {:>9} {:>7}  handler\n", "exception", "times",
                        "least", "mean", "most", "share");
  for (const InterruptLoad& i : w.interrupts)
    text += fmt::format("  {:9} {:>10} {:>9} {:>9.1f} {:>9} {:>5.1f} %  {}\n", i.number, i.count,
                        i.least, static_cast<double>(i.sum) / static_cast<double>(i.count),
                        i.greatest, share(i.sum), i.name);
  text += fmt::format(
      "  Lengths in cycles of the model (its table is the core's manual, its flash a model), "
      "without\n"
      "  entry, return and the more urgent handlers in between.\n"
      "Main stack: {} to {} bytes used of {}. Seen at exceptions; written, if nothing else writes "
      "there.\n",
      w.stack_seen, std::max(w.stack_seen, w.stack_written), w.stack_room);
  return text;
}

}  // namespace mcu

namespace cortexm {
namespace {

struct StackUse {
  Word seen = 0, written = 0, room = 0;
};

/// Variables lie below, as linkers do it; a heap between them and the stack counts as stack.
StackUse stack_use(const Program& program, Bus& bus, Word lowest_sp) {
  Word top = 0;
  std::memcpy(&top, program.flash.data(), sizeof top);
  for (const Area* area : {&bus.sram, &bus.ccm}) {
    if (top <= area->base || top - area->base > area->bytes) continue;
    Word floor = area->base;
    for (const Named& n : program.names)
      if (!n.is_function && n.address >= area->base && n.address < top &&
          n.bytes <= top - n.address)
        floor = std::max(floor, (n.address + n.bytes + 3) & ~Word{3});
    StackUse use{lowest_sp < top ? top - lowest_sp : 0, 0, top - floor};
    const auto word_at = [&](Word address) {
      Word word = 0;
      std::memcpy(&word, area->data + (address - area->base), sizeof word);
      return word;
    };
    Word untouched = floor;
    while (untouched < top && word_at(untouched) == word_at(floor)) untouched += 4;
    use.written = top - untouched;
    return use;
  }
  return {};
}

}  // namespace

mcu::Workload Chip::workload() {
  const ExceptionTimes& times = core_.exceptions().times;
  mcu::Workload work;
  work.cycles = core_.now();
  work.in_handlers = times.in_handlers(core_.now());
  work.asleep = core_.cycles_asleep();
  for (unsigned n = 0; n < ExceptionTimes::most; ++n) {
    const ExceptionTimes::One& one = times.of(n);
    if (one.count == 0) continue;
    Word vector = 0;
    if (const std::uint8_t* at = core_.bus().memory(core_.exceptions().vector_table + 4 * n))
      std::memcpy(&vector, at, sizeof vector);
    work.interrupts.push_back(
        {n, program_.name_of(vector & ~Word{1}), one.count, one.least, one.greatest, one.sum});
  }
  const StackUse stack = stack_use(program_, core_.bus(), times.lowest_sp());
  work.stack_seen = stack.seen;
  work.stack_written = stack.written;
  work.stack_room = stack.room;
  return work;
}

}  // namespace cortexm
}  // namespace stillrotor::io
