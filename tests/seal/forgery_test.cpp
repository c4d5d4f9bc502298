/// What somebody changed on purpose, and repaired as far as they can.
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "seal/evening.hpp"

namespace steadyglow::seal {
namespace {

std::size_t index_of(const std::vector<EventLine>& events, std::string_view kind) {
  return static_cast<std::size_t>(std::find_if(events.begin(), events.end(), [&](const EventLine& event) { return event.kind == kind; }) - events.begin());
}

/// The file replaced and the manifest put right, but the chain of events left as it is; signed by the forger.
std::vector<NamedFile> with_events_text(const Folder& folder, std::string text, std::size_t events) {
  RunData data = evening().data;
  data.events = std::move(text);
  data.manifest.events = events;
  data.manifest.code = code_of(sha256_hex(data.events), sha256_hex(data.readings), sha256_hex(data.run_file));
  return must(sealed_files(std::move(data), evening().pages, must(SigningKey::at(folder.file("forger.key")))));
}

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  for (std::size_t begin = 0; begin < text.size(); begin = text.find('\n', begin) + 1) lines.push_back(text.substr(begin, text.find('\n', begin) + 1 - begin));
  return lines;
}

std::string joined(const std::vector<std::string>& lines) {
  std::string text;
  for (const std::string& line : lines) text += line;
  return text;
}

TEST(Forgery, SignedByAnotherKeyIsNamed) {
  const Folder folder;
  const auto files = forged(folder, sealed_events());
  const std::string shop = evening().shop_key().public_key().fingerprint();
  EXPECT_TRUE(checked(folder, files).is_good()) << "nothing but the key is another";
  const Report report = checked(folder, files, shop);
  EXPECT_NE(all_of(report.differences).find("not by " + shop + ": somebody else has sealed this"), std::string::npos) << all_of(report.differences);
  EXPECT_NE(all_of(report.differences).find(must(SigningKey::at(folder.file("forger.key"))).public_key().fingerprint()), std::string::npos);
}

TEST(Forgery, DroppedLineBreaksTheChainWhateverTheManifestSays) {
  const Folder folder;
  auto lines = lines_of(evening().data.events);
  lines.erase(lines.begin() + 5);
  const Report report = checked(folder, with_events_text(folder, joined(lines), lines.size()));
  EXPECT_NE(all_of(report.differences).find("events.jsonl:6 (bytes "), std::string::npos) << all_of(report.differences);
  EXPECT_NE(all_of(report.differences).find("the chain breaks before it"), std::string::npos);
}

TEST(Forgery, LastLineDroppedIsMissedByTheManifestsChainHead) {
  const Folder folder;
  auto lines = lines_of(evening().data.events);
  lines.pop_back();
  EXPECT_NE(all_of(checked(folder, with_events_text(folder, joined(lines), lines.size())).differences).find("its chain ends in"), std::string::npos);
}

TEST(Forgery, SwappedLinesBreakTheChain) {
  const Folder folder;
  auto lines = lines_of(evening().data.events);
  std::swap(lines[4], lines[5]);
  EXPECT_NE(all_of(checked(folder, with_events_text(folder, joined(lines), lines.size())).differences).find("events.jsonl:5"), std::string::npos);
}

TEST(Forgery, InsertedLineBreaksTheChain) {
  const Folder folder;
  auto lines = lines_of(evening().data.events);
  lines.insert(lines.begin() + 3, lines[2]);
  EXPECT_NE(all_of(checked(folder, with_events_text(folder, joined(lines), lines.size())).differences).find("events.jsonl:4"), std::string::npos);
}

// From here on the chain is repaired as well: only the engine can tell.

TEST(Forgery, EveryDroppedEventIsMissedByTheEngine) {
  const Folder folder;
  const auto events = sealed_events();
  for (std::size_t i = 0; i < events.size(); ++i) {
    auto fewer = events;
    fewer.erase(fewer.begin() + static_cast<std::ptrdiff_t>(i));
    const Report report = checked(folder, forged(folder, fewer));
    EXPECT_FALSE(report.is_good()) << events[i].kind << " " << events[i].json;
  }
}

TEST(Forgery, DroppedAlarmIsNamedWithItsMoment) {
  const Folder folder;
  auto events = sealed_events();
  const auto alarm = index_of(events, "alarm");
  const EventLine dropped = events[alarm];
  events.erase(events.begin() + static_cast<std::ptrdiff_t>(alarm));
  const std::string text = all_of(checked(folder, forged(folder, events)).differences);
  EXPECT_NE(text.find("events.jsonl: missing: alarm at "), std::string::npos) << text;
}

TEST(Forgery, EverySwappedPairIsFound) {
  const Folder folder;
  const auto events = sealed_events();
  for (std::size_t i = 0; i + 1 < events.size(); ++i) {
    if (events[i].kind == "wiring" || events[i + 1].kind == "wiring") continue;  // a note of the daemon; its place says nothing
    auto other = events;
    std::swap(other[i], other[i + 1]);
    EXPECT_FALSE(checked(folder, forged(folder, other)).is_good()) << i;
  }
}

TEST(Forgery, InsertedEventIsNotWhatTheEngineSays) {
  const Folder folder;
  auto events = sealed_events();
  events.insert(events.begin() + 4, events[index_of(events, "finding")]);
  EXPECT_FALSE(checked(folder, forged(folder, events)).is_good());
}

TEST(Forgery, ChangedFindingIsToldFieldByField) {
  const Folder folder;
  auto events = sealed_events();
  EventLine& finding = events[index_of(events, "finding")];
  auto json = nlohmann::ordered_json::parse(finding.json);
  json["severity"] = "note";
  finding.json = json.dump();
  const std::string text = all_of(checked(folder, forged(folder, events)).differences);
  EXPECT_NE(text.find("severity is \"note\", the engine says "), std::string::npos) << text;
}

TEST(Forgery, BetterVerdictIsFoundInEventsAndManifest) {
  const Folder folder;
  auto events = sealed_events();
  EventLine& verdict = events[index_of(events, "verdict")];
  auto json = nlohmann::ordered_json::parse(verdict.json);
  json["word"] = "pass";
  verdict.json = json.dump();
  RunData data = evening().data;
  data.manifest.verdict = "pass";
  const std::string text = all_of(checked(folder, forged(folder, events, data)).differences);
  EXPECT_NE(text.find("word is \"pass\", the engine says \"fail\""), std::string::npos) << text;
  EXPECT_NE(text.find("manifest.json: the verdict is `pass`, the engine says `fail`"), std::string::npos) << text;
}

TEST(Forgery, SignatureOfAPersonWhoNeverSignedIsFound) {
  const Folder folder;
  RunData data = evening().data;
  data.manifest.signed_by = "Somebody";
  EXPECT_FALSE(checked(folder, forged(folder, sealed_events(), data)).is_good());
}

TEST(Forgery, AnotherSerialNumberOnTheManifestIsFound) {
  const Folder folder;
  RunData data = evening().data;
  data.manifest.serial = "B35-0118";
  const std::string text = all_of(checked(folder, forged(folder, sealed_events(), data)).differences);
  EXPECT_NE(text.find("serial is `B35-0118`, and run.sqlite says `B35-0117`"), std::string::npos) << text;
}

TEST(Forgery, SpreadsheetThatSaysSomethingElseIsFoundWithLineAndBytes) {
  const Folder folder;
  RunData data = evening().data;
  const std::size_t at = data.readings.find("470.", data.readings.size() / 4);
  ASSERT_NE(at, std::string::npos);
  data.readings[at] = '3';
  const std::string text = all_of(checked(folder, forged(folder, sealed_events(), data)).differences);
  EXPECT_NE(text.find("readings.csv:"), std::string::npos) << text;
  EXPECT_NE(text.find("(bytes " + std::to_string(at) + " to "), std::string::npos) << text;
}

TEST(Forgery, ReadingsThatWereMadeBetterAreFoundByWhatTheEngineSaidOfThem) {
  const Folder folder;
  RunData data = evening().data;
  auto reader = must(RunFileReader::open(data.run_file));
  auto writer = must(RunFileWriter::begin(reader.face()));
  must(reader.for_each_input([&](const store::InputRow& input) {
    store::InputRow better = input;
    for (Reading& reading : better.readings)
      if (reading.point().index == 0 && reading.is_good() && reading.value() > 450.0) reading = Reading::good(reading.point(), reading.at(), 380.0);
    must(writer.add(better));
  }));
  data.run_file = must(writer.finish());
  data.readings = csv_header(reader.face());
  auto again = must(RunFileReader::open(data.run_file));
  must(again.for_each_input([&](const store::InputRow& input) {
    if (input.kind == store::input_kind_readings) add_csv_row(again.face(), input, data.readings);
  }));
  const Report report = checked(folder, forged(folder, sealed_events(), data));
  EXPECT_NE(all_of(report.differences).find("the engine does not say this of these readings"), std::string::npos) << all_of(report.differences);
}

TEST(Forgery, PutInFileIsNamed) {
  const Folder folder;
  auto files = evening().files();
  files.push_back({"extra.txt", "trust me"});
  EXPECT_NE(all_of(checked(folder, files).differences).find("extra.txt is not in the manifest: it was put in"), std::string::npos);
}

TEST(Forgery, MissingFileIsNamed) {
  const Folder folder;
  for (const NamedFile& gone : evening().files()) {
    if (gone.name == manifest_name) continue;
    auto files = evening().files();
    std::erase_if(files, [&](const NamedFile& file) { return file.name == gone.name; });
    EXPECT_NE(all_of(checked(folder, files).differences).find(gone.name + " is missing"), std::string::npos) << gone.name;
  }
}

TEST(AnotherEngine, IsSaidAndItsOtherWordsAreNoForgery) {
  const Folder folder;
  auto events = sealed_events();
  EventLine& finding = events[index_of(events, "finding")];
  auto json = nlohmann::ordered_json::parse(finding.json);
  json["message"] = "in other words";
  finding.json = json.dump();
  RunData data = evening().data;
  data.manifest.engine_version = engine_version + 1;
  const Report report = checked(folder, forged(folder, events, data));
  EXPECT_TRUE(report.is_good()) << all_of(report.differences);
  EXPECT_TRUE(report.is_another_engine);
  EXPECT_NE(all_of(report.remarks).find("in other words"), std::string::npos) << all_of(report.remarks);
}

}  // namespace
}  // namespace steadyglow::seal
