#include "tests/io/gpiod/fake_library.hpp"

#include <unistd.h>

#include <cerrno>
#include <cstdlib>
#include <system_error>

namespace stillrotor::io::gpiod::test {
namespace {

class Watched : public WatchedLines {
 public:
  Watched(std::shared_ptr<Board> board, std::span<const LineRequest> lines, bool edges)
      : board_(std::move(board)) {
    const std::lock_guard hold(board_->guard);
    for (const LineRequest& line : lines) {
      offsets_.push_back(line.offset);
      if (!edges) continue;
      Board::Queue& queue = board_->queues[line.offset];
      int ends[2];
      if (pipe(ends) != 0) throw std::system_error(errno, std::generic_category());
      queue.reading = ends[0];
      queue.writing = ends[1];
      descriptors_.push_back(ends[0]);
    }
  }
  ~Watched() override {
    const std::lock_guard hold(board_->guard);
    for (const int descriptor : descriptors_) ::close(descriptor);
    for (const unsigned offset : offsets_)
      if (int& writing = board_->queues[offset].writing; writing >= 0) {
        ::close(writing);
        writing = -1;
      }
  }
  std::span<const int> descriptors() const noexcept override { return descriptors_; }
  bool read(std::size_t k, RawEdges& out) noexcept override {
    const std::lock_guard hold(board_->guard);
    if (board_->unplugged) return false;
    Board::Queue& queue = board_->queues[offsets_[k]];
    for (RawEdge edge : queue.edges) {
      char byte;
      if (::read(queue.reading, &byte, 1) != 1) return false;
      edge.position = static_cast<std::uint16_t>(k);
      out.edges[out.count++] = edge;
    }
    queue.edges.clear();
    if ((board_->queue_was_full_ >> offsets_[k] & 1) != 0) out.brimful |= 1U << k;
    board_->queue_was_full_ &= ~(1U << offsets_[k]);
    return true;
  }
  bool sense(std::uint32_t& active) noexcept override {
    const std::lock_guard hold(board_->guard);
    active = 0;
    for (std::size_t k = 0; k < offsets_.size(); ++k)
      active |= static_cast<std::uint32_t>(board_->levels[offsets_[k]]) << k;
    return !board_->unplugged;
  }

 private:
  std::shared_ptr<Board> board_;
  std::vector<unsigned> offsets_;
  std::vector<int> descriptors_;
};

class Driven : public DrivenLines {
 public:
  Driven(std::shared_ptr<Board> board, std::span<const LineRequest> lines, std::uint32_t active,
         bool released)
      : board_(std::move(board)), lines_(lines.begin(), lines.end()) {
    put(active, released);
  }
  bool drive(std::uint32_t active) noexcept override { return put(active, false); }
  bool let_go() noexcept override { return put(0, true); }

 private:
  bool put(std::uint32_t active, bool released) noexcept {
    const std::lock_guard hold(board_->guard);
    ++board_->writes_;
    if (board_->writes_fail) return false;
    for (std::size_t k = 0; k < lines_.size(); ++k)
      board_->outputs[lines_[k].offset] = {true, released, (active >> k & 1) != 0, lines_[k]};
    return true;
  }
  std::shared_ptr<Board> board_;
  std::vector<LineRequest> lines_;
};

class Fake : public Library {
 public:
  explicit Fake(std::shared_ptr<Board> board) : board_(std::move(board)) {}
  std::string version() const override { return "of a test"; }
  std::vector<ChipState> chips() override { return board_->chips; }
  std::unique_ptr<WatchedLines> watch(const std::string&, std::span<const LineRequest> lines,
                                      bool edges) override {
    refuse();
    return std::make_unique<Watched>(board_, lines, edges);
  }
  std::unique_ptr<DrivenLines> take(const std::string&, std::span<const LineRequest> lines,
                                    std::uint32_t active, bool released) override {
    refuse();
    return std::make_unique<Driven>(board_, lines, active, released);
  }

 private:
  void refuse() const {
    if (board_->error != 0) throw std::system_error(board_->error, std::generic_category());
  }
  std::shared_ptr<Board> board_;
};

}  // namespace

Board::Board() {
  chips.push_back({"/dev/gpiochip0", "gpiochip0", "bench", std::vector<LineState>(16)});
  for (unsigned k = 0; k < 16; ++k) chips[0].lines[k].name = "L" + std::to_string(k);
}

void Board::edges(std::span<const Arriving> arriving) {
  const std::lock_guard hold(guard);
  for (const Arriving& one : arriving) {
    Queue& queue = queues[one.offset];
    queue.edges.push_back({one.at_ns, 0, one.active, 0});
    if (::write(queue.writing, "", 1) != 1) std::abort();
  }
}

void Board::level(unsigned offset, bool active) {
  const std::lock_guard hold(guard);
  levels[offset] = active;
}

void Board::unplug() {
  const std::lock_guard hold(guard);
  unplugged = writes_fail = true;
  for (auto& [offset, queue] : queues)
    if (queue.writing >= 0) {
      ::close(queue.writing);
      queue.writing = -1;
    }
}

Board::Driven Board::driven(unsigned offset) {
  const std::lock_guard hold(guard);
  return outputs[offset];
}

std::unique_ptr<Library> library_of(std::shared_ptr<Board> board) {
  return std::make_unique<Fake>(std::move(board));
}

}  // namespace stillrotor::io::gpiod::test
