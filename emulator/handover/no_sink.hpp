// For whoever drives a bench and asks for nothing that it produces.
#pragma once

#include "emulator/handover/frame.hpp"

namespace stillrotor {

class NoSink final : public RunSink {
 public:
  void frame(const Frame&) noexcept override {}
  void edge(const LineEdge&) noexcept override {}
  void edges(std::span<const LineEdge>) noexcept override {}
  void mark(MarkKind, std::int64_t, std::string_view, std::string_view,
            std::int64_t) noexcept override {}
};

}  // namespace stillrotor
