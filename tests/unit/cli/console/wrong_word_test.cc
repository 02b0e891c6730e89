#include "calseal/cli/console/wrong_word.h"

#include <gmock/gmock.h>

namespace calseal {
namespace {

CommandOption option(std::vector<std::string> names, bool takes_value) {
  CommandOption made;
  made.names = std::move(names);
  made.takes_value = takes_value;
  return made;
}

CommandPage command(std::vector<std::string> path, std::vector<CommandOption> options,
                    std::vector<CommandPage> commands = {}) {
  CommandPage made;
  made.path = std::move(path);
  made.options = std::move(options);
  made.commands = std::move(commands);
  return made;
}

CommandPage program() {
  const auto help = option({"-h", "--help"}, false);
  const CommandPage status = command({"calseal", "job", "status"}, {help, option({"--trust"}, true)});
  const CommandPage merge = command({"calseal", "audit", "merge"}, {help});
  return command({"calseal"}, {help},
                 {command({"calseal", "job"}, {help}, {status}),
                  command({"calseal", "audit"}, {help, option({}, true)}, {merge}),
                  command({"calseal", "check"}, {help, option({"-o", "--output"}, true), option({}, true)})});
}

std::string said(const std::vector<std::string>& words) {
  const std::optional<Error> error = find_wrong_word(program(), words);
  return error ? error->found + "; " + error->expected + "; " + error->next : "";
}

TEST(WrongWord, ACommandIsNamedWithTheNearest) {
  EXPECT_EQ(said({"chek", "a.calseal"}),
            "the command \"chek\"; a command of calseal; did you mean \"check\"? calseal --help lists them");
  EXPECT_EQ(said({"job", "stats"}),
            "the command \"stats\"; a command of calseal job; did you mean \"status\"? calseal job --help "
            "lists them");
  EXPECT_EQ(said({"repair"}), "the command \"repair\"; a command of calseal; calseal --help lists them");
}

TEST(WrongWord, ACommandMayStandElsewhere) {
  EXPECT_EQ(said({"status"}),
            "the command \"status\"; a command of calseal; did you mean \"calseal job status\"? calseal "
            "--help lists them");
}

TEST(WrongWord, AnOptionIsNamedWithTheNearest) {
  EXPECT_EQ(said({"check", "a", "--ouput=b"}),
            "the option \"--ouput\"; an option of calseal check; did you mean \"--output\"? calseal check "
            "--help lists them");
  EXPECT_EQ(said({"check", "-ob", "-x"}),
            "the option \"-x\"; an option of calseal check; calseal check --help lists them");
}

TEST(WrongWord, ValuesAndFilesAreNoneOfTheTwo) {
  EXPECT_EQ(said({"check", "chek", "--output", "--wrong", "-"}), "");
  EXPECT_EQ(said({"check", "--", "--wrong"}), "");
  EXPECT_EQ(said({"audit", "archive", "merge", "all"}), "");
  EXPECT_EQ(said({}), "");
}

}  // namespace
}  // namespace calseal
