//! The devices of this proof: they write exports as devices and people do, in every way that has ever lost a row.

use std::fs::{self, File, OpenOptions};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::time::Duration;

use super::draws::Draws;
use super::exports::{Kind, Row, corrected, draw_rows, line_of, text_of};
use super::truth::{Dropped, Truth};

/// How one file comes into an import folder.
#[derive(Debug, Clone, Copy)]
enum Act {
    /// Written in one go.
    Whole,
    /// Written in pieces that end anywhere.
    Slowly,
    /// Written row by row through one handle, with pauses longer than the quiet period.
    Growing,
    /// Written under a temporary name, then renamed.
    Renamed,
    /// A folder of several exports, moved in whole.
    FolderMovedIn,
    /// The bytes of an earlier export under another name.
    Twin,
    /// Cut off in the middle of a row, and left so.
    Cut,
    /// Cut off, and exported whole later under the same name.
    CutThenWhole,
    /// Overwritten in place by a longer export.
    Overwritten,
    /// Other readings for shots that are in already.
    Correction,
    /// No export at all.
    Junk,
    /// An export without one sound row.
    AllBroken,
    /// Nothing in it: it may be the beginning of an export.
    Empty,
    /// A temporary name that nobody ever renames.
    Abandoned,
}

const ACTS: [(usize, Act); 14] = [
    (24, Act::Whole),
    (10, Act::Slowly),
    (4, Act::Growing),
    (14, Act::Renamed),
    (3, Act::FolderMovedIn),
    (8, Act::Twin),
    (4, Act::Cut),
    (4, Act::CutThenWhole),
    (5, Act::Overwritten),
    (14, Act::Correction),
    (4, Act::Junk),
    (2, Act::AllBroken),
    (1, Act::Empty),
    (1, Act::Abandoned),
];

/// Rows and files of one lane; five lanes fit into the seconds of a month.
const LANE: usize = 200_000;

/// One generator; its truth is complete when `run` returns.
pub struct Generator {
    draws: Draws,
    home: PathBuf,
    pub truth: Truth,
    next_number: usize,
    next_file: usize,
}

impl Generator {
    /// One of several generators of a home; each has its own `lane`, so that no two write the same row or name.
    pub fn new(home: &Path, seed: u64, lane: usize) -> Generator {
        Generator {
            draws: Draws::new(seed ^ (lane as u64) << 32),
            home: home.to_owned(),
            truth: Truth::default(),
            next_number: lane * LANE,
            next_file: lane * LANE,
        }
    }

    /// Drops so many files.
    pub fn run(&mut self, files: usize) {
        while self.truth.files < files {
            let act = self.draws.weighted(&ACTS);
            self.perform(act);
        }
    }

    fn perform(&mut self, act: Act) {
        match act {
            Act::Whole => self.whole(),
            Act::Slowly => self.slowly(),
            Act::Growing => self.growing(),
            Act::Renamed => self.renamed(),
            Act::FolderMovedIn => self.folder_moved_in(),
            Act::Twin => self.twin(),
            Act::Cut => self.cut(false),
            Act::CutThenWhole => self.cut(true),
            Act::Overwritten => self.overwritten(),
            Act::Correction => self.correction(),
            Act::Junk => self.junk(),
            Act::AllBroken => self.all_broken(),
            Act::Empty => {
                let path = self.place("nothing", "csv");
                write(&path, b"");
                self.truth.waiting.insert(path);
                self.truth.files += 1;
            }
            Act::Abandoned => {
                let (kind, rows) = self.export();
                let path = self.place("abandoned", "csv.part");
                write(&path, text_of(kind, &rows).as_bytes());
                self.truth.waiting.insert(path);
                self.truth.files += 1;
            }
        }
    }

    fn export(&mut self) -> (Kind, Vec<Row>) {
        let kind = self.draws.weighted(&[(6, Kind::Own), (2, Kind::Imperial), (2, Kind::Lines)]);
        (kind, draw_rows(&mut self.draws, &mut self.next_number))
    }

    /// A new path in an import folder, sometimes in a folder below it, sometimes with an awkward name.
    fn place(&mut self, word: &str, end: &str) -> PathBuf {
        self.next_file += 1;
        let number = self.next_file;
        let bay = self.draws.weighted(&[(1, "bay1"), (1, "bay2"), (1, "bay3")]);
        let mut folder = self.home.join("import").join(bay);
        if self.draws.in_hundred(15) {
            folder = folder.join(format!("week {}", number % 5)).join("evening");
            fs::create_dir_all(&folder).expect("a folder below an import folder");
        }
        let decoration = self.draws.weighted(&[(8, ""), (1, " (kopie) grün"), (1, "'\"$;&")]);
        let filler = if self.draws.in_hundred(3) { "x".repeat(180) } else { String::new() };
        folder.join(format!("{word}-{number}{decoration}{filler}.{end}"))
    }

    /// A path whose name suits the kind of export.
    fn place_for(&mut self, kind: Kind) -> PathBuf {
        match kind {
            Kind::Own => self.place("own", "csv"),
            Kind::Lines => self.place("lines", "jsonl"),
            Kind::Imperial => {
                let path = self.place("x", "csv");
                path.with_file_name(format!("session_{}_bay2.csv", self.next_file))
            }
        }
    }

    /// Notes an export that stands whole at `path`.
    fn done(&mut self, kind: Kind, rows: Vec<Row>, path: PathBuf) {
        self.truth.accept(kind, &rows, &text_of(kind, &rows), &name_of(&path));
        self.truth.settled.push(Dropped { kind, rows, path });
        self.truth.files += 1;
    }

    fn whole(&mut self) {
        let (kind, rows) = self.export();
        let path = self.place_for(kind);
        write(&path, text_of(kind, &rows).as_bytes());
        self.done(kind, rows, path);
    }

    fn slowly(&mut self) {
        let (kind, rows) = self.export();
        let path = self.place_for(kind);
        let text = text_of(kind, &rows);
        let mut file = File::create(&path).expect("an export");
        let mut rest = text.as_bytes();
        while !rest.is_empty() {
            let piece = self.draws.between(1, 200).min(rest.len());
            file.write_all(&rest[..piece]).expect("a piece");
            rest = &rest[piece..];
            if !rest.is_empty() {
                self.nap(5, 60);
            }
        }
        self.done(kind, rows, path);
    }

    fn growing(&mut self) {
        let (kind, rows) = self.export();
        let path = self.place_for(kind);
        let mut file = File::create(&path).expect("an export");
        // Many devices write the header when a session begins, long before its first shot.
        let at_once = usize::from(self.draws.in_hundred(50));
        file.write_all(text_of(kind, &rows[..at_once]).as_bytes()).expect("the beginning");
        for row in rows[at_once..].iter().take(4 - at_once) {
            self.nap(200, 900);
            file.write_all(line_of(kind, row).as_bytes()).expect("a row");
        }
        // The daemon may have taken it in between, so that its path is no sign of its being in; it is not corrected later.
        let rows: Vec<Row> = rows.into_iter().take(4).collect();
        self.truth.accept(kind, &rows, &text_of(kind, &rows), &name_of(&path));
        self.truth.files += 1;
    }

    fn renamed(&mut self) {
        let (kind, rows) = self.export();
        let path = self.place_for(kind);
        let temporary = if self.draws.in_hundred(50) {
            path.with_file_name(format!(".{}", name_of(&path)))
        } else {
            path.with_file_name(format!("{}.tmp", name_of(&path)))
        };
        write(&temporary, text_of(kind, &rows).as_bytes());
        self.nap(0, 30);
        fs::rename(&temporary, &path).expect("a rename");
        self.done(kind, rows, path);
    }

    fn folder_moved_in(&mut self) {
        self.next_file += 1;
        let outside = self.home.join("outside").join(format!("folder {}", self.next_file));
        let inside = self.home.join("import/bay1").join(format!("folder {}", self.next_file));
        fs::create_dir_all(&outside).expect("a folder outside");
        let mut made = Vec::new();
        for _ in 0..self.draws.between(2, 6) {
            let (kind, rows) = self.export();
            let name = name_of(&self.place_for(kind));
            write(&outside.join(&name), text_of(kind, &rows).as_bytes());
            made.push((kind, rows, inside.join(name)));
        }
        fs::rename(&outside, &inside).expect("a folder is moved");
        for (kind, rows, path) in made {
            self.done(kind, rows, path);
        }
    }

    fn twin(&mut self) {
        let Some(earlier) = self.some_settled() else { return };
        let path = self.place_for(earlier.kind);
        write(&path, text_of(earlier.kind, &earlier.rows).as_bytes());
        self.truth.rows_offered += earlier.rows.len();
        self.truth.files += 1;
    }

    /// Cut off within a row: its whole rows count, the half one is rejected, unless the whole export follows.
    fn cut(&mut self, whole_follows: bool) {
        let kind = Kind::Own;
        let mut rows = draw_rows(&mut self.draws, &mut self.next_number);
        for row in &mut rows {
            row.broken = false;
        }
        if rows.len() < 3 {
            return;
        }
        let path = self.place_for(kind);
        let whole = text_of(kind, &rows);
        let last = line_of(kind, &rows[rows.len() - 1]);
        // Within the first two cells, so that what is left of the row can be no row.
        let kept = whole.len() - last.len() + self.draws.between(1, 8);
        write(&path, &whole.as_bytes()[..kept]);
        self.truth.files += 1;
        if whole_follows {
            self.nap(0, 600);
            let temporary = path.with_file_name(format!(".{}", name_of(&path)));
            write(&temporary, whole.as_bytes());
            fs::rename(&temporary, &path).expect("the whole export takes its place");
            self.done(kind, rows, path);
        } else {
            let text = String::from_utf8_lossy(&whole.as_bytes()[..kept]).into_owned();
            rows.pop();
            self.truth.accept(kind, &rows, &text, &name_of(&path));
        }
    }

    fn overwritten(&mut self) {
        let (kind, mut rows) = self.export();
        let path = self.place_for(kind);
        write(&path, text_of(kind, &rows).as_bytes());
        self.nap(0, 1_500);
        let further = draw_rows(&mut self.draws, &mut self.next_number);
        rows.extend(further.into_iter().map(|row| Row { broken: false, ..row }));
        // As many devices do it: open, truncate, write.
        write(&path, text_of(kind, &rows).as_bytes());
        self.truth.accept(kind, &rows, &text_of(kind, &rows), &name_of(&path));
        self.truth.files += 1;
    }

    fn correction(&mut self) {
        let Some(position) = self.position_of_imported() else { return };
        let earlier = self.truth.settled.swap_remove(position);
        let rows = corrected(&mut self.draws, earlier.kind, &earlier.rows);
        let path = self.place_for(earlier.kind);
        write(&path, text_of(earlier.kind, &rows).as_bytes());
        self.done(earlier.kind, rows, path);
    }

    fn junk(&mut self) {
        self.next_file += 1;
        let number = self.next_file;
        let sorts: [(&str, Vec<u8>); 4] = [
            ("bin", (0..2_000_usize).map(|at| u8::try_from((at * number + at / 7) % 251).expect("a byte")).collect()),
            ("txt", format!("notes of day {number}: the net of bay 2 is torn\n").into_bytes()),
            ("csv", format!("a,b,c\n{number},2,3\n").into_bytes()),
            ("xlsx", format!("PK\u{3}\u{4} this only looks like a workbook {number}").into_bytes()),
        ];
        let (end, content) = sorts[self.draws.between(0, sorts.len())].clone();
        let path = self.place("junk", end);
        write(&path, &content);
        self.truth.refuse(&content, &name_of(&path));
        self.truth.files += 1;
    }

    fn all_broken(&mut self) {
        let mut rows = draw_rows(&mut self.draws, &mut self.next_number);
        for row in &mut rows {
            row.broken = true;
        }
        let path = self.place_for(Kind::Own);
        let text = text_of(Kind::Own, &rows);
        write(&path, text.as_bytes());
        self.truth.refuse(text.as_bytes(), &name_of(&path));
        self.truth.rows_offered += rows.len();
        self.truth.files += 1;
    }

    fn some_settled(&mut self) -> Option<Dropped> {
        let count = self.truth.settled.len();
        if count == 0 { None } else { Some(self.truth.settled[self.draws.between(0, count)].clone()) }
    }

    /// An export that has left its import folder: its rows are in, so that what comes now is later and wins.
    fn position_of_imported(&mut self) -> Option<usize> {
        let count = self.truth.settled.len();
        for _ in 0..10.min(count) {
            let position = self.draws.between(0, count);
            if !self.truth.settled[position].path.exists() {
                return Some(position);
            }
        }
        None
    }

    fn nap(&mut self, least_ms: usize, most_ms: usize) {
        let ms = self.draws.between(least_ms, most_ms);
        std::thread::sleep(Duration::from_millis(ms as u64));
    }
}

fn name_of(path: &Path) -> String {
    path.file_name().expect("a name").to_string_lossy().into_owned()
}

/// Opens, truncates, writes: no care is taken, as most devices take none.
fn write(path: &Path, content: &[u8]) {
    let mut file = OpenOptions::new().create(true).write(true).truncate(true).open(path).expect("a file to write");
    file.write_all(content).expect("the file is written");
}
