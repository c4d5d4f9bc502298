/// What a stranger may send instead of a record. Nothing of it is unpacked, followed or believed.
#include <gtest/gtest.h>
#include <sys/stat.h>

#include "seal/bounded_json.hpp"
#include "seal/evening.hpp"

namespace steadyglow::seal {
namespace {

/// The error of a file that is no record.
Error refused(const Folder& folder, const std::string& bytes) {
  const std::string path = folder.file("stranger.zip");
  std::filesystem::remove(path);
  must(write_new_file(path, bytes));
  const auto report = check(path);
  if (!report) return report.error();
  ADD_FAILURE() << "it was taken for a record: " << all_of(report->differences);
  return {};
}

/// The digest in the comment repaired, as a forger would.
std::string with_good_comment(std::string zip) {
  zip.resize(zip.size() - digest_hex_length);
  return zip + sha256_hex(zip);
}

std::string replaced(std::string bytes, const std::string& from, const std::string& to) {
  EXPECT_EQ(from.size(), to.size());
  std::size_t found = 0;
  for (std::size_t at = bytes.find(from); at != std::string::npos; at = bytes.find(from, at + to.size()), ++found) bytes.replace(at, from.size(), to);
  EXPECT_GT(found, 0u);
  return bytes;
}

void put32(std::string& bytes, std::size_t at, std::uint32_t value) {
  for (int i = 0; i < 4; ++i, value >>= 8) bytes[at + static_cast<std::size_t>(i)] = static_cast<char>(value & 0xFF);
}

/// Every header of the first file claims this unpacked size (PKWARE APPNOTE 4.3.7 and 4.3.12: offsets 22 and 24).
std::string claiming(std::string zip, std::uint32_t size) {
  put32(zip, zip.find("PK\x03\x04") + 22, size);
  put32(zip, zip.find("PK\x01\x02") + 24, size);
  return with_good_comment(zip);
}

TEST(Stranger, NotThere) { EXPECT_EQ(check("/nowhere/record.zip").error().fault, Fault::bad_data); }

TEST(Stranger, EmptyFile) {
  const Folder folder;
  EXPECT_NE(refused(folder, "").message.find("empty"), std::string::npos);
}

TEST(Stranger, TextFile) {
  const Folder folder;
  EXPECT_NE(refused(folder, "Dear shop, here is your record").message.find("neither a folder nor a zip"), std::string::npos);
}

TEST(Stranger, EmptyFolderAndAnotherProgramsFolder) {
  const Folder folder;
  std::filesystem::create_directory(folder.file("r"));
  EXPECT_NE(check(folder.file("r")).error().message.find("no manifest.json"), std::string::npos);
  must(write_new_file(folder.file("r/manifest.json"), R"({"name": "a page", "icons": []})"));
  const auto report = check(folder.file("r"));
  EXPECT_TRUE(!report || !report->is_good());
}

TEST(Stranger, CutShortAnywhereIsNeverGood) {
  const Folder folder;
  const std::string zip = must(zip_of(evening().files()));
  for (std::size_t length = 0; length < zip.size(); length += 1 + zip.size() / 97) {
    const std::string path = folder.file("cut.zip");
    std::filesystem::remove(path);
    must(write_new_file(path, zip.substr(0, length)));
    const auto report = check(path);
    if (report) {
      EXPECT_FALSE(report->is_good()) << length;
    } else {
      EXPECT_EQ(report.error().fault, Fault::bad_data) << report.error().text();
    }
  }
}

TEST(Stranger, ZipThatWasPackedAnewIsSaidToBe) {
  const Folder folder;
  std::string zip = must(zip_of(evening().files()));
  zip.back() = zip.back() == '0' ? '1' : '0';
  must(write_new_file(folder.file("r.zip"), zip));
  EXPECT_NE(all_of(checked(folder.file("r.zip")).differences).find("the digest in its comment"), std::string::npos);
}

TEST(Stranger, NamesThatLeadOutOfTheFolder) {
  const Folder folder;
  for (const char* name : {"../page.pdf", "/etc/page", "a/../../b", "sub/page.pdf", "..", ".", "C:page.pdf", "a\\b", "~", "page.pdf\n"}) {
    auto files = evening().files();
    files.push_back({name, "x"});
    EXPECT_NE(refused(folder, must(zip_of(files))).message.find("a file of the record is called"), std::string::npos) << name;
  }
}

TEST(Stranger, TwoFilesOfOneName) {
  const Folder folder;
  auto files = evening().files();
  files.push_back({"page.pdg", "another page"});
  const Error error = refused(folder, with_good_comment(replaced(must(zip_of(files)), "page.pdg", "page.pdf")));
  EXPECT_NE(error.message.find("two files of the zip have one name"), std::string::npos) << error.text();
}

TEST(Stranger, ClaimOfTwoGigabytesIsRefusedBeforeAByteIsUnpacked) {
  const Folder folder;
  const Error error = refused(folder, claiming(must(zip_of(evening().files())), 0x80000000u));
  EXPECT_NE(error.message.find("claims 2147483648 bytes"), std::string::npos) << error.text();
}

TEST(Stranger, MoreBytesThanTheManifestSaysAreNotUnpacked) {
  const Folder folder;
  auto files = evening().files();
  for (NamedFile& file : files)
    if (file.name == readings_name) file.bytes.append(200'000'000, ' ');
  const Report report = checked(folder, files);
  EXPECT_NE(all_of(report.differences).find("the manifest says"), std::string::npos);
  EXPECT_FALSE(report.was_retold);
}

TEST(Stranger, ManifestWithoutEnd) {
  const Folder folder;
  auto files = evening().files();
  files.front().bytes.append(50'000'000, ' ');
  EXPECT_NE(refused(folder, must(zip_of(files))).message.find("manifest.json claims"), std::string::npos);
}

TEST(Stranger, ThousandFiles) {
  const Folder folder;
  auto files = evening().files();
  for (int i = 0; i < 1000; ++i) files.push_back({"f" + std::to_string(i), ""});
  EXPECT_NE(refused(folder, must(zip_of(files))).message.find("more than 100 files"), std::string::npos);
}

TEST(Stranger, LinkInAFolder) {
  const Folder folder;
  must(write_container(folder.file("r"), evening().files()));
  std::filesystem::rename(folder.file("r/readings.csv"), folder.file("elsewhere.csv"));
  std::filesystem::create_symlink(folder.file("elsewhere.csv"), folder.file("r/readings.csv"));
  EXPECT_NE(check(folder.file("r")).error().message.find("it is a link"), std::string::npos);
}

TEST(Stranger, LinkInAZip) {
  const Folder folder;
  std::string zip = must(zip_of(evening().files()));
  put32(zip, zip.find("PK\x01\x02") + 38, 0120777u << 16);  // external attributes: APPNOTE 4.3.12
  EXPECT_NE(refused(folder, with_good_comment(zip)).message.find("it is a link"), std::string::npos);
}

TEST(Stranger, FolderInPlaceOfAFile) {
  const Folder folder;
  must(write_container(folder.file("r"), evening().files()));
  std::filesystem::remove(folder.file("r/readings.csv"));
  std::filesystem::create_directory(folder.file("r/readings.csv"));
  EXPECT_NE(check(folder.file("r")).error().message.find("it is a folder"), std::string::npos);
}

TEST(Stranger, PipeInPlaceOfAFileDoesNotHang) {
  const Folder folder;
  must(write_container(folder.file("r"), evening().files()));
  std::filesystem::remove(folder.file("r/readings.csv"));
  ASSERT_EQ(mkfifo(folder.file("r/readings.csv").c_str(), 0600), 0);
  EXPECT_NE(check(folder.file("r")).error().message.find("no plain file"), std::string::npos);
}

std::string said_of_events(const Folder& folder, std::string text) {
  RunData data = evening().data;
  data.events = std::move(text);
  data.manifest.code = code_of(sha256_hex(data.events), sha256_hex(data.readings), sha256_hex(data.run_file));
  return all_of(checked(folder, must(sealed_files(std::move(data), {}, must(SigningKey::at(folder.file("k")))))).differences);
}

TEST(Stranger, EventLineWithoutEnd) {
  const Folder folder;
  const std::string text = said_of_events(folder, evening().data.events + R"({"n":99,"before":")" + std::string(30'000'000, 'a'));
  EXPECT_NE(text.find("events.jsonl:"), std::string::npos) << text.substr(0, 300);
  EXPECT_NE(text.find("more than 1048576 are not read"), std::string::npos) << text.substr(0, 300);
}

TEST(Stranger, EventLineNestedWithoutEnd) {
  const Folder folder;
  const std::string text = said_of_events(folder, R"({"n":1,"event":)" + std::string(500'000, '[') + "\n");
  EXPECT_NE(text.find("events.jsonl:1: error: a JSON text that is nested deeper than 32 levels"), std::string::npos) << text.substr(0, 300);
}

TEST(Stranger, EventLineThatIsNoJson) {
  const Folder folder;
  EXPECT_NE(said_of_events(folder, "{\"n\":1,}\n").find("events.jsonl:1: error: this is no JSON from byte 8 on"), std::string::npos) << said_of_events(folder, "{\"n\":1,}\n");
}

TEST(Stranger, JsonNumbersOutOfRangeAndBytesThatAreNoText) {
  EXPECT_FALSE(bounded_json("{\"n\":1e999}"));
  EXPECT_FALSE(bounded_json("\"\xff\xfe\""));
  EXPECT_FALSE(bounded_json(""));
}

/// run.sqlite made to lie, signed by its forger.
std::string said_of_run_file(const Folder& folder, const std::string& sql) {
  const std::string path = folder.file("lie.sqlite");
  std::filesystem::remove(path);
  must(write_new_file(path, evening().data.run_file));
  {
    auto connection = must(store::Connection::open(path, store::Access::write));
    must(connection.run("PRAGMA journal_mode = OFF"));
    must(connection.run(sql));
  }
  RunData data = evening().data;
  data.run_file = must(read_plain_file(path, 1 << 28));
  data.manifest.code = code_of(sha256_hex(data.events), sha256_hex(data.readings), sha256_hex(data.run_file));
  return all_of(checked(folder, must(sealed_files(std::move(data), {}, must(SigningKey::at(folder.file("k")))))).differences);
}

TEST(Stranger, RunFileThatClaimsMoreThanAChunkHolds) {
  const Folder folder;
  EXPECT_NE(said_of_run_file(folder, "UPDATE reading_chunk SET count = 2000000000").find("a count that cannot be"), std::string::npos);
  EXPECT_NE(said_of_run_file(folder, "UPDATE batch_chunk SET count = 2000000000").find("batch 0 is missing"), std::string::npos);
}

TEST(Stranger, RunFileWithPiecesMissingMovedOrLeftOver) {
  const Folder folder;
  for (const char* sql : {"DELETE FROM reading_chunk WHERE point = 1", "UPDATE reading_chunk SET first = 7 WHERE point = 1", "DELETE FROM batch_chunk", "DELETE FROM input WHERE nth > 1", "UPDATE point SET name = 'v9_mv' WHERE id = 0",
                          "DELETE FROM point", "DELETE FROM run", "UPDATE point_list SET points = '[9999]'", "UPDATE point_list SET points = '[[[['", "UPDATE run SET profile_text = 'kind ='", "UPDATE run SET plan_text = ''",
                          "UPDATE reading_chunk SET numbers = x'00'", "UPDATE reading_chunk SET quality = numbers", "UPDATE reading_chunk SET coding = 'other'", "UPDATE reading_chunk SET decimals = 400", "UPDATE reading_chunk SET coding = 'levels', level_count = -1",
                          "INSERT INTO reading_chunk (point, first, count, coding, decimals, level_count, levels, numbers, quality, late_ms) SELECT 77, first, count, coding, decimals, level_count, levels, numbers, quality, late_ms FROM reading_chunk",
                          "CREATE TRIGGER t AFTER INSERT ON run BEGIN SELECT 1; END", "PRAGMA user_version = 9", "UPDATE run SET wiring = '{}'", "UPDATE input SET json = '{}'", "UPDATE input SET at_ms = -9223372036854775807"})
    EXPECT_NE(said_of_run_file(folder, sql), "") << sql;
}

}  // namespace
}  // namespace steadyglow::seal
