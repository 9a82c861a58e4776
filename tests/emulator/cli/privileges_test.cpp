// A run that root starts for another user. Skipped where the tests do not run as root.
#include <gmock/gmock.h>
#include <pwd.h>
#include <sys/stat.h>

#include "tests/emulator/cli/program_runner.hpp"

namespace stillrotor::test {
namespace {

using testing::HasSubstr;

class RunAs : public ProgramTest {
 protected:
  void SetUp() override {
    if (geteuid() != 0) GTEST_SKIP() << "needs root";
    if (getpwnam("nobody") == nullptr) GTEST_SKIP() << "there is no user nobody";
    ASSERT_EQ(chmod(path(".").c_str(), 0777), 0);
  }
  Answer run(const std::string& user, const std::function<void()>& prepare = {}) {
    return call({"run", bench(), scenario("50 ms"), "--out", "kept", "--user", user}, {}, prepare);
  }
};

TEST_F(RunAs, LeavesItsFilesToThatUser) {
  const Answer answer = run("nobody");
  ASSERT_EQ(answer.status, 0) << answer.err;
  struct stat file {};
  ASSERT_EQ(stat(path("kept/result.json").c_str(), &file), 0);
  EXPECT_EQ(file.st_uid, getpwnam("nobody")->pw_uid);
  EXPECT_EQ(file.st_gid, getpwnam("nobody")->pw_gid);
}

TEST_F(RunAs, CannotDoWhatOnlyRootMay) {
  ASSERT_EQ(chmod(path(".").c_str(), 0755), 0);
  const Answer answer = run("nobody");
  EXPECT_EQ(answer.status, 4) << answer.out;
  EXPECT_FALSE(fs::exists(path("kept")));
}

TEST_F(RunAs, RefusesRootAndStrangers) {
  EXPECT_EQ(run("root").status, 2);
  const Answer answer = run("no-such-user");
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("no user \"no-such-user\""));
  EXPECT_FALSE(fs::exists(path("kept")));
}

TEST_F(RunAs, IsForRootOnly) {
  const Answer answer = run("nobody", [] {
    if (setuid(65534) != 0) _exit(97);
  });
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("Leave it out"));
}

}  // namespace
}  // namespace stillrotor::test
