#pragma once
/// What stands on the pages, before anybody knows how large a sheet is. The same model becomes PDF, HTML and PNG, so none of them
/// says what another leaves out.
#include <cstdint>
#include <string>
#include <variant>
#include <vector>

#include "record/chart.hpp"

namespace steadyglow::record {

struct Heading {
  int level = 1;  ///< 1 to 3
  std::string text;
};

struct Paragraph {
  enum class Tone : std::uint8_t { plain, big, strong, small };
  std::string text;
  Tone tone = Tone::plain;
};

struct ItemList {
  std::vector<std::string> items;
  bool is_small = false;
};

struct Column {
  std::string title;
  double weight = 1.0;     ///< its share of the width
  bool is_figure = false;  ///< right-aligned
};
struct Table {
  std::string caption;
  std::vector<Column> columns;
  std::vector<std::vector<std::string>> rows;  ///< the first cell of a row is its heading
  bool is_small = false;
};

struct Figure {
  Chart chart;
  double height = 150.0;       ///< in pt, as one would like it
  double height_least = 80.0;  ///< where room is scarce
  bool is_half = false;        ///< two that follow each other stand side by side
  bool is_for_listing = false; ///< the picture of a sales listing
};

/// PNG or JPEG, as bytes.
struct Photo {
  std::string bytes;
  std::string alt;
  std::string caption;
};

/// A photo with text beside it; without a photo, the text alone.
struct PhotoBeside {
  std::vector<Photo> photo;  ///< none or one
  std::vector<Paragraph> paragraphs;
  ItemList items;
};

struct PhotoRow {
  std::vector<Photo> photos;
};

/// The next block begins on a side of its own.
struct NewSide {};

using Block = std::variant<Heading, Paragraph, ItemList, Table, Figure, PhotoBeside, PhotoRow, NewSide>;

struct Pages {
  std::string title;
  std::string subject;
  std::string author;
  std::string keywords;
  std::string language = "en";
  std::string made_utc;    ///< RFC 3339: when the run ended, so that the same run gives the same bytes
  std::string foot;        ///< on every side
  std::string warning;     ///< on every side, loud: a demo's clock
  std::vector<Block> buyer;
  std::vector<Block> technician;
};

}  // namespace steadyglow::record
