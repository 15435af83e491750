//! The rooms of the house: what DEVELOPERS.md says of who knows whom, read out of the sources.

mod common;

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// Every room of the library with the rooms that its sources name, tests left out.
fn rooms() -> BTreeMap<String, BTreeSet<String>> {
    let src = common::root().join("src");
    let mut known: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (name, bytes) in common::files(&src) {
        if !name.ends_with(".rs") || name == "lib.rs" || name == "main.rs" {
            continue;
        }
        let room = name.split(['/', '.']).next().unwrap().to_owned();
        let named = named_in(&String::from_utf8(bytes).unwrap());
        known.entry(room).or_default().extend(named);
    }
    let all: BTreeSet<String> = known.keys().cloned().collect();
    for (room, named) in &mut known {
        named.retain(|other| other != room && all.contains(other));
    }
    known
}

/// The names that stand right behind `crate::`, also in braces.
fn named_in(source: &str) -> BTreeSet<String> {
    let source = source.split("#[cfg(test)]\nmod tests").next().unwrap();
    let code: String = source
        .lines()
        .filter(|line| !line.trim_start().starts_with("//"))
        .map(|line| format!("{line}\n"))
        .collect();
    let word = |text: &str| -> String {
        let text = text.trim_start();
        let end = text.find(|c: char| !c.is_alphanumeric() && c != '_');
        text[..end.unwrap_or(text.len())].to_owned()
    };
    let mut named = BTreeSet::new();
    for rest in code.split("crate::").skip(1) {
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

#[test]
fn no_room_knows_one_that_knows_it() {
    let mut known = rooms();
    assert!(known.len() > 25, "{:?}", known.keys());
    assert!(known["sections"].contains("parts") && known["job"].contains("length"));
    // Again and again the rooms that know none of those left; what stays goes around in a circle.
    loop {
        let free: Vec<String> = known
            .iter()
            .filter(|(_, others)| others.is_empty())
            .map(|(room, _)| room.clone())
            .collect();
        if free.is_empty() {
            break;
        }
        known.retain(|room, _| !free.contains(room));
        for others in known.values_mut() {
            others.retain(|other| !free.contains(other));
        }
    }
    assert!(known.is_empty(), "rooms that know each other: {known:?}");
}

#[test]
fn what_is_said_of_single_rooms_is_true() {
    let known = rooms();
    for (room, others) in [
        ("sections", ["pens", "job", "reference"].as_slice()),
        ("pens", &["grid", "art", "reference", "parts", "job"]),
        ("grid", &["color", "sections", "art"]),
        ("job", &["pens", "art", "light", "passes", "plan"]),
        (
            "sheets",
            &["stages", "matching", "planner", "compose", "reference"],
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
