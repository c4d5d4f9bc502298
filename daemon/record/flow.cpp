#include "record/flow.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

#include "record/photo.hpp"

namespace steadyglow::record {
namespace {

using Tone = Paragraph::Tone;

constexpr double between_blocks = 4.0;
constexpr double between_halves = 12.0;
constexpr double bullet = 9.0;
constexpr double cell_pad = 2.5;
constexpr double photo_width_share = 0.30;
constexpr double photo_height_most = 150.0;
constexpr double row_photo_height = 150.0;

class Flow {
 public:
  Flow(cairo_t* to, const Sheet& sheet, const Density& density, const FlowHooks& hooks, std::size_t side) : to_(to), sheet_(sheet), density_(density), hooks_(hooks), side_(side) { begin_side(); }

  Flowed run(const std::vector<Block>& blocks) {
    for (std::size_t i = 0; i < blocks.size(); ++i) {
      next_ = i + 1 < blocks.size() ? &blocks[i + 1] : nullptr;
      if (const auto* figure = std::get_if<Figure>(&blocks[i]); figure != nullptr && figure->is_half) {
        const auto* other = next_ != nullptr ? std::get_if<Figure>(next_) : nullptr;
        const bool is_pair = other != nullptr && other->is_half;
        place_halves(*figure, is_pair ? other : nullptr);
        if (is_pair) ++i;
        continue;
      }
      std::visit([this](const auto& block) { place(block); }, blocks[i]);
    }
    const double used = y_;
    end_side();
    return {sides_, used};
  }

 private:
  double width() const { return sheet_.width - 2.0 * sheet_.margin; }
  double bottom() const { return sheet_.height > 0.0 ? sheet_.height - sheet_.margin - foot_room : 1e9; }
  double room() const { return bottom() - y_; }
  bool is_at_top() const { return y_ <= top_ + 0.01; }
  double text_size(double size) const { return size * density_.text; }

  void begin_side() {
    y_ = top_ = sheet_.margin;
    ++sides_;
    if (hooks_.begin_side) hooks_.begin_side(side_);
  }
  void end_side() {
    if (hooks_.end_side) hooks_.end_side(side_);
    ++side_;
  }
  void turn_over() {
    end_side();
    begin_side();
  }
  void gap(double height) {
    if (!is_at_top()) y_ += height * density_.text;
  }
  void begin_tag(const char* tag) {
    if (hooks_.begin_tag) hooks_.begin_tag(tag);
  }
  void end_tag(const char* tag) {
    if (hooks_.end_tag) hooks_.end_tag(tag);
  }

  /// Lines from here on, over as many sides as it takes.
  void put_lines(const SetText& text, double x, const char* tag) {
    std::size_t from = 0;
    while (from < text.lines()) {
      std::size_t fit = text.fitting(from, room());
      if (fit == 0 && !is_at_top()) {
        turn_over();
        continue;
      }
      fit = std::max<std::size_t>(fit, 1);
      begin_tag(tag);
      text.show(to_, x, y_, from, from + fit);
      end_tag(tag);
      y_ += text.height(from, from + fit);
      from += fit;
      if (from < text.lines()) turn_over();
    }
  }

  void place(const NewSide&) {
    if (!is_at_top()) turn_over();
  }

  void place(const Heading& heading) {
    static constexpr std::array sizes{17.0, 10.5, 9.0};
    const std::size_t level = static_cast<std::size_t>(std::clamp(heading.level, 1, 3)) - 1;
    const SetText text(to_, heading.text, width(), {.size = text_size(sizes[level]), .is_bold = true});
    gap(level == 0 ? 4.0 : 5.0);
    // A heading never stands alone at the foot of a side.
    if (text.height() + least_of_next() > room() && !is_at_top()) turn_over();
    if (hooks_.outline) hooks_.outline(heading.text, heading.level, side_, y_);
    static constexpr std::array tags{"H1", "H2", "H3"};
    put_lines(text, sheet_.margin, tags[level]);
    if (level == 1) {
      use(to_, Ink::line);
      cairo_set_line_width(to_, 0.6);
      cairo_move_to(to_, sheet_.margin, y_ + 1.0);
      cairo_line_to(to_, sheet_.margin + width(), y_ + 1.0);
      cairo_stroke(to_);
    }
    y_ += level == 0 ? 2.0 : 3.5 * density_.text;
  }

  double least_of_next() const {
    if (next_ == nullptr) return 0.0;
    if (const auto* figure = std::get_if<Figure>(next_)) return height_of(*figure) + 40.0;
    return 40.0 * density_.text;
  }

  TextStyle style_of(Tone tone) const {
    switch (tone) {
      case Tone::big: return {.size = text_size(12.5), .is_bold = true};
      case Tone::strong: return {.size = text_size(9.5), .is_bold = true};
      case Tone::small: return {.size = text_size(7.5), .ink = Ink::soft};
      case Tone::plain: break;
    }
    return {.size = text_size(8.5)};
  }

  void place(const Paragraph& paragraph) {
    gap(between_blocks / 2.0);
    put_lines(SetText(to_, paragraph.text, width(), style_of(paragraph.tone)), sheet_.margin, "P");
    y_ += between_blocks / 2.0 * density_.text;
  }

  void place(const ItemList& list) { put_list(list, sheet_.margin, width()); }

  void put_list(const ItemList& list, double x, double width) {
    const TextStyle style = style_of(list.is_small ? Tone::small : Tone::plain);
    for (const std::string& item : list.items) {
      const SetText text(to_, item, width - bullet, {.size = style.size});
      if (text.fitting(0, room()) == 0 && !is_at_top()) turn_over();
      const double r = style.size * 0.16;
      use(to_, Ink::text);
      cairo_new_path(to_);
      cairo_arc(to_, x + 3.5, y_ + style.size * 0.65, r, 0.0, 2.0 * 3.14159265358979);
      cairo_fill(to_);
      put_lines(text, x + bullet, "P");
      y_ += 1.0 * density_.text;
    }
  }

  // ---- tables ----------------------------------------------------------------------------------------------------

  struct Grid {
    std::vector<double> x;
    std::vector<double> width;
  };
  Grid grid_of(const Table& table) const {
    double sum = 0.0;
    for (const Column& column : table.columns) sum += column.weight;
    Grid grid;
    double x = sheet_.margin;
    for (const Column& column : table.columns) {
      grid.x.push_back(x);
      grid.width.push_back(width() * column.weight / sum);
      x += grid.width.back();
    }
    return grid;
  }

  std::vector<SetText> row_of(const Table& table, const Grid& grid, const std::vector<std::string>& cells, bool is_head) const {
    std::vector<SetText> row;
    const double size = text_size(table.is_small ? 7.3 : 8.3);
    for (std::size_t c = 0; c < table.columns.size(); ++c)
      row.emplace_back(to_, c < cells.size() ? cells[c] : std::string(), grid.width[c] - 2.0 * cell_pad, TextStyle{.size = size, .is_bold = is_head, .is_right = table.columns[c].is_figure});
    return row;
  }

  static double height_of(const std::vector<SetText>& row) {
    double height = 0.0;
    for (const SetText& cell : row) height = std::max(height, cell.height());
    return height + 2.0 * cell_pad * 0.6;
  }

  /// The lines of every cell from `from` on that fit into `height`; returns where the row goes on, per cell.
  void put_row(const Grid& grid, const std::vector<SetText>& row, std::vector<std::size_t>& from, double height, bool is_head) {
    begin_tag("TR");
    double used = 0.0;
    for (std::size_t c = 0; c < row.size(); ++c) {
      const std::size_t fit = row[c].fitting(from[c], height - 2.0 * cell_pad * 0.6);
      const char* tag = is_head || c == 0 ? "TH" : "TD";
      begin_tag(tag);
      row[c].show(to_, grid.x[c] + cell_pad, y_ + cell_pad * 0.6, from[c], from[c] + fit);
      end_tag(tag);
      used = std::max(used, row[c].height(from[c], from[c] + fit));
      from[c] += fit;
    }
    end_tag("TR");
    y_ += used + 2.0 * cell_pad * 0.6;
    use(to_, is_head ? Ink::soft : Ink::line);
    cairo_set_line_width(to_, is_head ? 0.8 : 0.35);
    cairo_move_to(to_, sheet_.margin, y_);
    cairo_line_to(to_, sheet_.margin + width(), y_);
    cairo_stroke(to_);
  }

  void put_head(const Table& table, const Grid& grid) {
    std::vector<std::string> titles;
    for (const Column& column : table.columns) titles.push_back(column.title);
    const std::vector<SetText> head = row_of(table, grid, titles, true);
    std::vector<std::size_t> from(head.size(), 0);
    put_row(grid, head, from, height_of(head), true);
  }

  void place(const Table& table) {
    gap(between_blocks / 2.0);
    const Grid grid = grid_of(table);
    const bool has_head = std::any_of(table.columns.begin(), table.columns.end(), [](const Column& column) { return !column.title.empty(); });
    double head_height = 0.0;
    if (has_head) {
      std::vector<std::string> titles;
      for (const Column& column : table.columns) titles.push_back(column.title);
      head_height = height_of(row_of(table, grid, titles, true));
    }
    const double whole_side = bottom() - sheet_.margin - head_height;
    bool is_open = false;
    const auto open = [&] {
      begin_tag("Table");
      if (has_head) put_head(table, grid);
      is_open = true;
    };
    const auto close = [&] {
      if (is_open) end_tag("Table");
      is_open = false;
    };
    for (const auto& cells : table.rows) {
      const std::vector<SetText> row = row_of(table, grid, cells, false);
      const double height = height_of(row);
      const double needed = height + (is_open ? 0.0 : head_height);
      if (needed > room() && height <= whole_side && !is_at_top()) {
        close();
        turn_over();
      }
      if (!is_open) open();
      std::vector<std::size_t> from(row.size(), 0);
      const auto is_done = [&] {
        for (std::size_t c = 0; c < row.size(); ++c)
          if (from[c] < row[c].lines()) return false;
        return true;
      };
      // A row longer than a side goes on on the next.
      while (!is_done()) {
        const std::vector<std::size_t> before = from;
        put_row(grid, row, from, std::max(room(), 0.0), false);
        if (is_done()) break;
        if (from == before && is_at_top()) break;  // not even one line fits on a whole side: no sheet is so small
        close();
        turn_over();
        open();
      }
    }
    close();
    if (!table.caption.empty()) {
      y_ += 1.5;
      put_lines(SetText(to_, table.caption, width(), style_of(Tone::small)), sheet_.margin, "P");
    }
    y_ += between_blocks / 2.0 * density_.text;
  }

  // ---- drawings and photos ---------------------------------------------------------------------------------------

  double height_of(const Figure& figure) const { return figure.height_least + (figure.height - figure.height_least) * density_.drawings; }

  TextStyle title_style() const { return {.size = text_size(8.0), .is_bold = true}; }

  void put_figure(const Figure& figure, double x, double width, double height) {
    begin_tag("Figure");
    paint(to_, draw_chart(figure.chart, width, height), x, y_);
    end_tag("Figure");
  }

  void place(const Figure& figure) {
    gap(between_blocks);
    const double height = height_of(figure);
    const SetText title(to_, title_of(figure.chart), width(), title_style());
    const SetText alt(to_, figure.chart.alt, width(), {.size = text_size(6.5), .ink = Ink::soft});
    if (title.height() + height + alt.height() > room() && !is_at_top()) turn_over();
    put_lines(title, sheet_.margin, "P");
    put_figure(figure, sheet_.margin, width(), height);
    y_ += height + 1.0;
    put_lines(alt, sheet_.margin, "P");
    y_ += between_blocks / 2.0;
  }

  void place_halves(const Figure& left, const Figure* right) {
    gap(between_blocks / 2.0);
    const double half = (width() - between_halves) / 2.0;
    const double height = std::max(height_of(left), right != nullptr ? height_of(*right) : 0.0);
    const TextStyle small{.size = text_size(6.0), .ink = Ink::soft};
    const SetText left_alt(to_, left.chart.alt, half, small);
    std::optional<SetText> right_alt;
    if (right != nullptr) right_alt.emplace(to_, right->chart.alt, half, small);
    const SetText left_title(to_, title_of(left.chart), half, title_style());
    std::optional<SetText> right_title;
    if (right != nullptr) right_title.emplace(to_, title_of(right->chart), half, title_style());
    const double title_height = std::max(left_title.height(), right_title ? right_title->height() : 0.0);
    const double alt_height = std::max(left_alt.height(), right_alt ? right_alt->height() : 0.0);
    if (title_height + height + alt_height > room() && !is_at_top()) turn_over();
    const double x = sheet_.margin + half + between_halves;
    const auto put = [&](const SetText& text, double at) {
      begin_tag("P");
      text.show(to_, at, y_, 0, text.lines());
      end_tag("P");
    };
    put(left_title, sheet_.margin);
    if (right_title) put(*right_title, x);
    y_ += title_height;
    put_figure(left, sheet_.margin, half, height);
    if (right != nullptr) put_figure(*right, x, half, height);
    y_ += height + 1.0;
    put(left_alt, sheet_.margin);
    if (right_alt) put(*right_alt, x);
    y_ += alt_height + between_blocks;
  }

  /// Draws a photo into a box and returns how high it became.
  double put_photo(const Photo& photo, double x, double width, double height_most) {
    const auto image = read_photo(photo.bytes);
    if (!image) return 0.0;  // the makers of pages have asked before
    const double share = std::min(width / image->width(), height_most / image->height());
    begin_tag("Figure");
    cairo_save(to_);
    cairo_translate(to_, x, y_);
    cairo_scale(to_, share, share);
    cairo_set_source_surface(to_, image->surface(), 0.0, 0.0);
    cairo_paint(to_);
    cairo_restore(to_);
    end_tag("Figure");
    return image->height() * share;
  }

  void place(const PhotoBeside& beside) {
    const bool has_photo = !beside.photo.empty();
    const double photo_width = has_photo ? width() * photo_width_share : 0.0;
    const double text_width = width() - photo_width - (has_photo ? between_halves : 0.0);
    double needed = 0.0;
    std::vector<SetText> texts;
    for (const Paragraph& paragraph : beside.paragraphs) {
      texts.emplace_back(to_, paragraph.text, text_width, style_of(paragraph.tone));
      needed += texts.back().height() + 3.0 * density_.text;
    }
    if (std::max(needed, has_photo ? photo_height_most * density_.text : 0.0) > room() && !is_at_top()) turn_over();
    const std::size_t side_before = side_;
    const double top = y_;
    double photo_bottom = top;
    if (has_photo) photo_bottom += put_photo(beside.photo.front(), sheet_.margin + text_width + between_halves, photo_width, photo_height_most * density_.text);
    for (const SetText& text : texts) {
      put_lines(text, sheet_.margin, "P");
      y_ += 3.0 * density_.text;
    }
    put_list(beside.items, sheet_.margin, text_width);
    if (side_ == side_before) y_ = std::max(y_, photo_bottom + 3.0);
  }

  void place(const PhotoRow& row) {
    constexpr std::size_t per_row = 2;
    const double half = (width() - between_halves) / static_cast<double>(per_row);
    for (std::size_t i = 0; i < row.photos.size(); i += per_row) {
      const std::size_t end = std::min(i + per_row, row.photos.size());
      std::vector<SetText> captions;
      double caption_height = 0.0;
      for (std::size_t p = i; p < end; ++p) {
        captions.emplace_back(to_, row.photos[p].caption, half, style_of(Tone::small));
        caption_height = std::max(caption_height, captions.back().height());
      }
      if (row_photo_height + caption_height + between_blocks > room() && !is_at_top()) turn_over();
      double height = 0.0;
      for (std::size_t p = i; p < end; ++p) height = std::max(height, put_photo(row.photos[p], sheet_.margin + static_cast<double>(p - i) * (half + between_halves), half, row_photo_height));
      y_ += height + 2.0;
      for (std::size_t p = i; p < end; ++p) {
        begin_tag("P");
        captions[p - i].show(to_, sheet_.margin + static_cast<double>(p - i) * (half + between_halves), y_, 0, captions[p - i].lines());
        end_tag("P");
      }
      y_ += caption_height + between_blocks;
    }
  }

  cairo_t* to_;
  const Sheet& sheet_;
  const Density& density_;
  const FlowHooks& hooks_;
  const Block* next_ = nullptr;
  std::size_t side_;
  std::size_t sides_ = 0;
  double y_ = 0.0;
  double top_ = 0.0;
};

}  // namespace

Flowed flow(cairo_t* to, const std::vector<Block>& blocks, const Sheet& sheet, const Density& density, const FlowHooks& hooks, std::size_t sides_before) {
  return Flow(to, sheet, density, hooks, sides_before).run(blocks);
}

}  // namespace steadyglow::record
