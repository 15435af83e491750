//! The rooms of the house: what DEVELOPERS.md says of who knows whom, read out of the sources.

mod common;

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// Who names whom.
type Known = BTreeMap<String, BTreeSet<String>>;

/// The sources of the library by their names below `src`, without comments and tests.
fn sources() -> Vec<(String, String)> {
    let code = |bytes: Vec<u8>| -> String {
        let source = String::from_utf8(bytes).unwrap();
        let source = source.split("#[cfg(test)]\nmod tests").next().unwrap();
        source
            .lines()
            .filter(|line| !line.trim_start().starts_with("//"))
            .map(|line| format!("{line}\n"))
            .collect()
    };
    common::files(&common::root().join("src"))
        .into_iter()
        .filter(|(name, _)| name.ends_with(".rs") && name != "lib.rs" && name != "main.rs")
        .map(|(name, bytes)| (name, code(bytes)))
        .collect()
}

/// Only those that are themselves in the list, and others than the one who names them.
fn among_themselves(mut known: Known) -> Known {
    let all: BTreeSet<String> = known.keys().cloned().collect();
    for (one, named) in &mut known {
        named.retain(|other| other != one && all.contains(other));
    }
    known
}

/// Every room of the library with the rooms that its sources name.
fn rooms() -> Known {
    let mut known = Known::new();
    for (name, code) in sources() {
        let room = name.split(['/', '.']).next().unwrap().to_owned();
        known
            .entry(room)
            .or_default()
            .extend(named_in(&code, "crate::"));
    }
    among_themselves(known)
}

/// For every folder its files, each with the files beside it that it names. A folder's own file (`mod.rs`) holds what they
/// share, and is none of them.
fn files_beside() -> BTreeMap<String, Known> {
    let mut folders: BTreeMap<String, Known> = BTreeMap::new();
    for (name, code) in sources() {
        let Some((folder, file)) = name.strip_suffix(".rs").unwrap().rsplit_once('/') else {
            continue;
        };
        if file == "mod" || folder.starts_with("page") {
            continue;
        }
        let mut named = named_in(&code, "super::");
        named.extend(named_in(
            &code,
            &format!("crate::{}::", folder.replace('/', "::")),
        ));
        let files = folders.entry(folder.to_owned()).or_default();
        files.insert(file.to_owned(), named);
    }
    let folders = folders.into_iter();
    folders
        .map(|(folder, files)| (folder, among_themselves(files)))
        .collect()
}

/// The names that stand right behind `place`, also in braces.
fn named_in(code: &str, place: &str) -> BTreeSet<String> {
    let word = |text: &str| -> String {
        let text = text.trim_start();
        let end = text.find(|c: char| !c.is_alphanumeric() && c != '_');
        text[..end.unwrap_or(text.len())].to_owned()
    };
    let mut named = BTreeSet::new();
    for rest in code.split(place).skip(1) {
        let Some(list) = rest.strip_prefix('{') else {
            named.insert(word(rest));
            continue;
        };
        // Names at the first level of the braces.
        let mut depth = 1;
        let mut begins = true;
        for (at, c) in list.char_indices() {
            match c {
                '{' => depth += 1,
                '}' => depth -= 1,
                ',' if depth == 1 => begins = true,
                c if begins && !c.is_whitespace() => {
                    named.insert(word(&list[at..]));
                    begins = false;
                }
                _ => {}
            }
            if depth == 0 {
                break;
            }
        }
    }
    named
}

/// Those who know each other: again and again who knows none of the others goes, and what stays goes around in a circle.
fn circles(mut known: Known) -> Known {
    loop {
        let free: Vec<String> = known
            .iter()
            .filter(|(_, others)| others.is_empty())
            .map(|(one, _)| one.clone())
            .collect();
        if free.is_empty() {
            return known;
        }
        known.retain(|one, _| !free.contains(one));
        for others in known.values_mut() {
            others.retain(|other| !free.contains(other));
        }
    }
}

#[test]
fn no_room_knows_one_that_knows_it() {
    let known = rooms();
    assert!(known.len() > 25, "{:?}", known.keys());
    assert!(known["sections"].contains("parts") && known["job"].contains("length"));
    let circles = circles(known);
    assert!(
        circles.is_empty(),
        "rooms that know each other: {circles:?}"
    );
}

#[test]
fn no_file_knows_one_beside_it_that_knows_it() {
    let folders = files_beside();
    assert!(folders.len() > 15, "{:?}", folders.keys());
    assert!(folders["reference"]["outline"].contains("subject"));
    assert!(folders["pens/choose"]["search"].contains("bound"));
    for (folder, known) in folders {
        let circles = circles(known);
        assert!(
            circles.is_empty(),
            "files of {folder} that know each other: {circles:?}"
        );
    }
}

#[test]
fn only_the_rim_knows_a_disk_a_clock_or_the_environment() {
    let outside = ["fs", "env", "process", "thread", "time", "net"];
    let mut rim = BTreeSet::new();
    for (name, code) in sources() {
        let room = name.split(['/', '.']).next().unwrap().to_owned();
        let named = named_in(&code, "std::");
        if outside.iter().any(|name| named.contains(*name)) {
            rim.insert(room);
        }
    }
    // The page's builder writes the page.
    assert_eq!(
        rim.into_iter().collect::<Vec<_>>(),
        ["cli", "input", "output", "page"]
    );
}

#[test]
fn what_is_said_of_single_rooms_is_true() {
    let known = rooms();
    for (room, others) in [
        ("sections", ["pens", "job", "reference"].as_slice()),
        ("pens", &["grid", "art", "reference", "parts", "job"]),
        ("grid", &["color", "sections", "art"]),
        ("job", &["pens", "art", "light", "passes", "plan"]),
        ("stages", &["sheets"]),
        (
            "sheets",
            &["stages", "choosing", "planner", "compose", "reference"],
        ),
    ] {
        for other in others {
            assert!(!known[room].contains(*other), "{room} knows {other}");
        }
    }
    // Only the rim knows the rim.
    for (room, others) in &known {
        let rim = ["cli", "input", "output", "page"];
        let inner = !rim.contains(&room.as_str());
        assert!(!inner || rim.iter().all(|r| !others.contains(*r)), "{room}");
    }
}

#[test]
fn every_room_stands_in_the_map() {
    let map = std::fs::read_to_string(common::root().join("DEVELOPERS.md")).unwrap();
    for room in rooms().keys() {
        let folder = Path::new("src").join(room);
        let (folder, file) = (
            format!("`{}/`", folder.display()),
            format!("`{}.rs`", folder.display()),
        );
        assert!(
            map.contains(&folder) || map.contains(&file),
            "{room} is not in DEVELOPERS.md"
        );
    }
}
