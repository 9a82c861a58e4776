// `report` as a user meets it: of a whole run, of one that was stopped, of what is no run.
#include <gmock/gmock.h>

#include "tests/emulator/cli/program_runner.hpp"

namespace stillrotor::test {
namespace {

using testing::HasSubstr;

class ReportCommand : public ProgramTest {
 protected:
  void run_it() {
    write_text(path("drive.yaml"), "scenario: It drives\nlasts: 0.2 s\n");
    ASSERT_EQ(call({"run", bench(), path("drive.yaml").string(), "--out", "kept"}).status, 0);
  }
};

TEST_F(ReportCommand, WritesTheSamePageAgain) {
  run_it();
  const std::string first = read_text(path("kept/report.html"));
  EXPECT_NE(first.find("</html>"), std::string::npos);
  fs::remove(path("kept/report.html"));
  const Answer answer = call({"report", "kept"});
  EXPECT_EQ(answer.status, 0) << answer.err;
  EXPECT_EQ(answer.out, "kept/report.html\n");
  EXPECT_TRUE(read_text(path("kept/report.html")) == first);
  EXPECT_EQ(call({"report", "kept", "--out", "page.html"}).status, 0);
  EXPECT_TRUE(read_text(path("page.html")) == first);
}

TEST_F(ReportCommand, OfAStoppedRunSaysSo) {
  run_it();
  fs::remove(path("kept/result.json"));
  EXPECT_EQ(call({"report", "kept"}).status, 0);
  EXPECT_NE(read_text(path("kept/report.html")).find("There is no verdict in this folder."),
            std::string::npos);
}

TEST_F(ReportCommand, RefusesWhatIsNoRun) {
  const Answer nowhere = call({"report", "nowhere"});
  EXPECT_EQ(nowhere.status, 2);
  EXPECT_THAT(nowhere.err, HasSubstr("nowhere is no folder"));
  fs::create_directory(path("empty"));
  EXPECT_EQ(call({"report", "empty"}).status, 2);
  run_it();
  EXPECT_EQ(call({"report", "kept", "--out", "no/such/place.html"}).status, 4);
  write_text(path("kept/result.json"), "{");
  const Answer damaged = call({"report", "kept"});
  EXPECT_EQ(damaged.status, 2);
  EXPECT_THAT(damaged.err, HasSubstr("result.json is damaged"));
}

}  // namespace
}  // namespace stillrotor::test
