//! Every message of the program in one place, for reading: `cargo test --test messages -- --nocapture` prints them.

mod common;

/// What a person reads about a mistake: what is wrong, and what to do.
struct Message {
    file: String,
    line: usize,
    /// String literals of the call, in order; of a name or a number that is put in only the place is left.
    words: Vec<String>,
}

/// All sources of the library but its tests; the page tells in its own.
fn sources() -> Vec<(String, String)> {
    let src = common::root().join("src");
    let all = common::files(&src).into_iter();
    all.filter(|(name, _)| name.ends_with(".rs") && !name.starts_with("page/"))
        .map(|(name, bytes)| {
            let text = String::from_utf8(bytes).unwrap();
            let code = text.split("#[cfg(test)]\nmod tests").next().unwrap();
            (name, code.to_owned())
        })
        .collect()
}

/// The string literal that begins at the quote `at`, as it reads, and where it ends.
fn literal(code: &str, at: usize) -> (String, usize) {
    let mut words = String::new();
    let mut letters = code[at + 1..].char_indices();
    while let Some((i, c)) = letters.next() {
        match c {
            '"' => return (words, at + 1 + i + 1),
            '\\' => match letters.next() {
                // A line that goes on: what indents the next is not meant.
                Some((_, '\n')) => {
                    let rest = letters.as_str();
                    let indent = rest.len() - rest.trim_start().len();
                    if indent > 0 {
                        letters.nth(rest[..indent].chars().count() - 1);
                    }
                }
                Some((_, c)) => words.push(c),
                None => break,
            },
            c => words.push(c),
        }
    }
    (words, code.len())
}

/// The calls of a function, each with its string literals.
fn calls(file: &str, code: &str, name: &str) -> Vec<Message> {
    let mut found = Vec::new();
    for (start, _) in code.match_indices(name) {
        let mut at = start + name.len();
        let mut depth = 1;
        let mut words = Vec::new();
        while depth > 0 && at < code.len() {
            let c = code[at..].chars().next().unwrap();
            match c {
                '"' => {
                    let (text, end) = literal(code, at);
                    words.push(text);
                    at = end;
                    continue;
                }
                '(' => depth += 1,
                ')' => depth -= 1,
                _ => {}
            }
            at += c.len_utf8();
        }
        let line = code[..start].matches('\n').count() + 1;
        found.push(Message {
            file: file.to_owned(),
            line,
            words,
        });
    }
    found
}

fn errors() -> Vec<Message> {
    let mut all = Vec::new();
    for (file, code) in sources() {
        for name in ["Error::new(", "Error::file("] {
            all.extend(calls(&file, &code, name));
        }
    }
    all
}

/// Whole sentences besides: notes, steps, lines of sheets.
fn sentences() -> Vec<Message> {
    let mut all = Vec::new();
    for (file, code) in sources() {
        let code: String = code
            .lines()
            .map(|line| match line.trim_start().starts_with("//") {
                true => "\n".to_owned(),
                false => format!("{line}\n"),
            })
            .collect();
        let mut at = 0;
        while let Some(next) = code[at..].find('"') {
            let start = at + next;
            // A quote as a letter is no string.
            if code[..start].ends_with('\'') {
                at = start + 1;
                continue;
            }
            let (text, end) = literal(&code, start);
            at = end;
            let markup = text.contains('<') || text.contains("=\"");
            if text.split_whitespace().count() >= 5 && !markup {
                let line = code[..start].matches('\n').count() + 1;
                all.push(Message {
                    file: file.clone(),
                    line,
                    words: vec![text],
                });
            }
        }
    }
    all
}

#[test]
fn every_mistake_is_told_with_what_to_do() {
    let mut told = 0;
    for Message { file, line, words } in errors() {
        println!("{file}:{line}");
        words.iter().for_each(|text| println!("    {text}"));
        // Where the words come from elsewhere, they are judged there.
        let mut sentences = words
            .iter()
            .filter(|text| text.split_whitespace().count() > 2);
        let Some((what, help)) = sentences.next().zip(sentences.next_back()) else {
            continue;
        };
        told += 1;
        let place = format!("{file}:{line}: {what} / {help}");
        assert!(!what.ends_with('.'), "what is wrong goes on: {place}");
        assert!(
            help.ends_with(['.', ')', ':']),
            "what to do is a sentence: {place}"
        );
        let first = help.chars().next().unwrap();
        assert!(first.is_uppercase() || first == '{', "{place}");
    }
    assert!(told > 100, "{told}");
}

#[test]
fn messages_use_the_words_of_the_house() {
    // What only a programmer knows, what is spelled otherwise, and what has another word here.
    let words = [
        "colour",
        "grey",
        "centre",
        "millimetre",
        "invalid",
        "parse",
        "null",
        "boolean",
        "string",
        "iteration",
        "centroid",
        "kernel",
        "threshold",
        "label field",
        "hue group",
        "stdin",
        "UTF-16",
        "mask image",
        "layer",
    ];
    for Message {
        file,
        line,
        words: text,
    } in sentences().iter().chain(&errors())
    {
        for text in text {
            println!("{file}:{line}: {text}");
            let small = text.to_lowercase();
            for word in words {
                assert!(!small.contains(word), "\"{word}\" in {file}:{line}: {text}");
            }
        }
    }
}
