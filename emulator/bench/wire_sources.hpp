// What stands at the bench's end of a wire.
#pragma once

#include "emulator/bench/draft.hpp"
#include "io/connector.hpp"

namespace stillrotor {

/// The controller stands on lines of the bench's own.
inline bool on_lines(const Draft& draft) { return draft.backend == 3 || draft.backend == 4; }
/// Behind a timing co-processor.
inline bool on_link(const Draft& draft) { return draft.backend == 6; }
/// Does the chip bring this line in, or drive it?
bool on_chip(const Draft&, io::LineId);

/// Is there something at the bench's end of this wire? assemble_harness.cpp.
bool has_source(const Draft&, io::LineId);
bool has_source(const Draft&, io::ChannelId);

}  // namespace stillrotor
