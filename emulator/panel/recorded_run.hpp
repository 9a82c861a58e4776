// A finished run's folder, as a panel shows it: record, verdict, report.
// Thread  the server's. Errors: std::runtime_error where the record is damaged.
#pragma once

#include <cstdint>
#include <deque>
#include <filesystem>
#include <map>
#include <memory>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "emulator/panel/shown_run.hpp"
#include "emulator/record/record_reader.hpp"

namespace stillrotor {

/// Curves out of a record: single points while they are few, its overview from afar. There first
/// and last of a column are the middle between least and greatest.
class RecordSource final : public ViewSource {
 public:
  explicit RecordSource(const RecordReader& record) : record_(record) {}
  double rate_Hz() const noexcept override { return record_.rate_Hz(); }
  std::int64_t points() const noexcept override {
    return static_cast<std::int64_t>(record_.frames());
  }
  void columns(Signal, std::span<const std::int64_t> bounds, std::span<Column>) const override;
  bool has_raw(std::int64_t) const noexcept override { return true; }
  void raw(Signal, std::int64_t from, std::span<float>) const override;
  void line(std::uint16_t line, double from_s, double step_s,
            std::span<std::uint8_t>) const override;

 private:
  void fine_columns(Signal, std::span<const std::int64_t> bounds, std::span<Column>) const;
  void far_columns(Signal, std::size_t points, std::span<const std::int64_t> bounds,
                   std::span<Column>) const;

  const RecordReader& record_;
};

class RecordedRun final : public ShownRun {
 public:
  /// Throws std::runtime_error: no record that can be read.
  RecordedRun(std::string name, std::filesystem::path folder);

  const ViewSource& source() const override { return source_; }
  const std::vector<std::uint16_t>& lines() const override { return lines_; }
  nlohmann::json welcome() const override;
  nlohmann::json state(nlohmann::json& moving) const override;
  const std::deque<PanelMark>& marks() const override { return marks_; }
  std::uint64_t marks_gone() const override { return 0; }
  std::optional<std::string> document(std::string_view name) const override;

 private:
  std::string name_;
  std::filesystem::path folder_;
  RecordReader record_;
  RecordSource source_;
  std::vector<std::uint16_t> lines_;
  std::deque<PanelMark> marks_;
  nlohmann::json result_;  // result.json; null: there is none
};

}  // namespace stillrotor
