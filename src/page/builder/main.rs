//! `cargo page`: builds `target/page/penstrata.html`, one file that holds the page, the library as a WebAssembly module,
//! and the example. Beside it lie what a host needs so that the page can be installed: manifest, icon, service worker.
//!
//! It runs cargo for the module, wasm-bindgen for its JavaScript side, and from the npm registry `wasm-opt` and `esbuild`.

use std::error::Error;
use std::fs;
use std::num::NonZeroU64;
use std::path::{Path, PathBuf};
use std::process::Command;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};
use wasm_bindgen_cli_support::Bindgen;

type Result<T> = std::result::Result<T, Box<dyn Error>>;

const TARGET: &str = "wasm32-unknown-unknown";
const MODULE: &str = "penstrata_page.wasm";
/// What the library needs in a browser: random numbers come from it (nothing asks for any), and four numbers at once.
const RUSTFLAGS: &str = r#"--cfg getrandom_backend="wasm_js" -C target-feature=+simd128"#;
/// What current browsers have; the same set as the compiler's for this target, and the one above.
const FEATURES: [&str; 7] = [
    "--enable-simd",
    "--enable-bulk-memory",
    "--enable-nontrapping-float-to-int",
    "--enable-sign-ext",
    "--enable-mutable-globals",
    "--enable-reference-types",
    "--enable-multivalue",
];
/// What is rarely run and large is made small, not fast: text, PDF, SVG, color profiles, tables, outlines of cards.
const SMALL: [&str; 24] = [
    "csv",
    "emojis",
    "encoding_rs",
    "i_float",
    "i_overlay",
    "i_shape",
    "i_tree",
    "krilla",
    "krilla-svg",
    "moxcms",
    "pdf-writer",
    "read-fonts",
    "roxmltree",
    "rustybuzz",
    "serde_json",
    "skrifa",
    "subsetter",
    "svgtypes",
    "tiff",
    "toml",
    "ttf-parser",
    "usvg",
    "write-fonts",
    "xmp-writer",
];
/// Rounds of packing; more gain a few hundred bytes.
const ROUNDS: NonZeroU64 = NonZeroU64::new(3).unwrap();
/// The files of the two examples: what the page calls them, and where they are.
const EXAMPLE: [(&str, &str); 9] = [
    ("photo", "demo/reference.jpg"),
    ("drawing", "demo/outline.svg"),
    ("pens", "demo/pens.csv"),
    ("card", "demo/card.toml"),
    ("mushroom", "demo/mushroom.svg"),
    ("lantern", "demo/lantern.svg"),
    ("fern", "demo/fern.svg"),
    ("moth", "demo/moth.svg"),
    ("accents", "demo/accents.csv"),
];
/// Beside the page, for a host.
const BESIDE: [&str; 3] = [
    "penstrata.webmanifest",
    "penstrata-worker.js",
    "penstrata.svg",
];

fn main() {
    if let Err(error) = build() {
        eprintln!("The page could not be built: {error}");
        std::process::exit(1);
    }
}

fn build() -> Result<()> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../..")
        .canonicalize()?;
    let web = root.join("src/page/web");
    let out = root.join("target/page");
    let work = out.join("work");
    fs::create_dir_all(&work)?;

    let module = compile(&root)?;
    if !web.join("node_modules/.bin").exists() {
        run(Command::new("npm")
            .args(["ci", "--no-audit", "--no-fund", "--silent"])
            .current_dir(&web))?;
    }
    let module = optimized(&module, &web, &work)?;
    let worker = bundled(&web, &work, "worker.js")?;
    let main = bundled(&web, &work, "main.jsx")?;
    let style = bundled(&web, &work, "style.css")?;
    let page = assembled(&root, &web, style, &main, &worker, &module)?;
    fs::write(out.join("penstrata.html"), &page)?;
    for name in BESIDE {
        fs::copy(web.join("host").join(name), out.join(name))?;
    }
    println!(
        "target/page/penstrata.html: {:.1} MB",
        page.len() as f64 / 1e6
    );
    Ok(())
}

/// The library as a module of WebAssembly. `PENSTRATA_WASM_CARGO` and
/// `PENSTRATA_WASM_RUSTC` name another toolchain that has the target.
fn compile(root: &Path) -> Result<PathBuf> {
    let given = std::env::var("PENSTRATA_WASM_CARGO").ok();
    let cargo = given
        .clone()
        .or_else(|| std::env::var("CARGO").ok())
        .unwrap_or_else(|| "cargo".to_owned());
    let target_dir = root.join("target/page/cargo");
    let mut command = Command::new(cargo);
    command
        .current_dir(root)
        .args([
            "build",
            "--release",
            "--lib",
            "-p",
            "penstrata-page",
            "--target",
            TARGET,
            "--target-dir",
        ])
        .arg(&target_dir)
        // One unit, whole: a tenth smaller, and faster, for a longer build.
        .args([
            "--config=profile.release.lto='fat'",
            "--config=profile.release.codegen-units=1",
            // What wasm-bindgen reads is stripped, too; wasm-opt takes away the rest.
            "--config=profile.release.strip='none'",
        ])
        .args(
            SMALL
                .iter()
                .map(|name| format!("--config=profile.release.package.{name}.opt-level='s'")),
        )
        .env("RUSTFLAGS", RUSTFLAGS);
    if given.is_some() {
        // Debian's toolchain for this target builds its own standard library.
        command
            .args(["-Z", "build-std=std,panic_abort"])
            .env("RUSTC_BOOTSTRAP", "1");
        if let Ok(rustc) = std::env::var("PENSTRATA_WASM_RUSTC") {
            command.env("RUSTC", rustc);
        }
    }
    run(&mut command).map_err(|error| {
        format!("{error}\nThe module needs the target {TARGET}: rustup target add {TARGET}")
    })?;
    Ok(target_dir.join(TARGET).join("release").join(MODULE))
}

/// The module with its JavaScript side in `work`, made smaller; gzip.
fn optimized(module: &Path, web: &Path, work: &Path) -> Result<Vec<u8>> {
    Bindgen::new()
        .input_path(module)
        .web(true)?
        .typescript(false)
        .out_name("library")
        .generate(work)?;
    // These steps are long: they are left out where the module is the one of the last time.
    let small = work.join("small.wasm");
    let packed = work.join("small.wasm.gz");
    let of = work.join("small.of");
    let input = fs::read(work.join("library_bg.wasm"))?;
    let name = hash_of(&input);
    if packed.exists() && fs::read_to_string(&of).is_ok_and(|before| before == name) {
        return Ok(fs::read(packed)?);
    }
    run(Command::new(web.join("node_modules/.bin/wasm-opt"))
        .arg("-O2")
        .args(FEATURES)
        .arg(work.join("library_bg.wasm"))
        .arg("-o")
        .arg(&small))?;
    fs::write(&packed, gzip(&fs::read(&small)?)?)?;
    fs::write(of, name)?;
    Ok(fs::read(packed)?)
}

/// A script with all that it imports, as one; or a style, without blanks.
fn bundled(web: &Path, work: &Path, entry: &str) -> Result<String> {
    let out = work.join("bundle.js");
    run(Command::new(web.join("node_modules/.bin/esbuild"))
        .current_dir(web)
        .args([
            entry,
            "--bundle",
            "--minify",
            "--format=iife",
            "--target=es2022",
            "--charset=utf8",
        ])
        .args([
            "--jsx=automatic",
            "--jsx-import-source=preact",
            "--log-level=error",
        ])
        // The module is handed over as bytes; the place it would be loaded from is never asked for.
        .arg(r#"--define:import.meta.url="""#)
        .arg("--alias:d3-transition=./still.js")
        .arg(format!(
            "--alias:penstrata-library={}",
            work.join("library.js").display()
        ))
        .arg(format!("--outfile={}", out.display())))?;
    Ok(fs::read_to_string(out)?)
}

fn assembled(
    root: &Path,
    web: &Path,
    style: String,
    main: &str,
    worker: &str,
    module: &[u8],
) -> Result<String> {
    let template = fs::read_to_string(web.join("page.html"))?;
    let main = in_script(main);
    // The guide opened inside the page obeys the page's policy, too: its script is allowed by its hash.
    let guide = format!(
        "\n{}\n",
        fs::read_to_string(root.join("src/sheets/guide/script.js"))?
    );
    let mut example = String::new();
    for (name, path) in EXAMPLE {
        let packed = STANDARD.encode(gzip(&fs::read(root.join(path))?)?);
        example +=
            &format!("<script type=\"text/plain\" id=\"example-{name}\">{packed}</script>\n");
    }
    let values = [
        ("main-hash", hash(&main)),
        ("guide-hash", hash(&guide)),
        ("style", style),
        ("main", main),
        ("worker", STANDARD.encode(gzip(worker.as_bytes())?)),
        ("example", example),
        ("module", STANDARD.encode(module)),
    ];
    let mut page = String::with_capacity(8 << 20);
    let mut rest = template.as_str();
    while let Some((before, after)) = rest.split_once("{{") {
        let (name, after) = after.split_once("}}").ok_or("page.html: a {{ without }}")?;
        let value = values.iter().find(|(n, _)| *n == name);
        let (_, value) = value.ok_or_else(|| format!("page.html: there is no {{{{{name}}}}}"))?;
        page += before;
        page += value;
        rest = after;
    }
    Ok(page + rest)
}

/// A script that cannot end its element, nor begin a comment, early.
fn in_script(script: &str) -> String {
    script
        .replace("</script", "<\\/script")
        .replace("<!--", "<\\!--")
}

/// For a content security policy (CSP Level 3): the hash of an inline script.
fn hash(script: &str) -> String {
    hash_of(script.as_bytes())
}

fn hash_of(bytes: &[u8]) -> String {
    format!("sha256-{}", STANDARD.encode(Sha256::digest(bytes)))
}

/// Gzip, as small as can be: a twentieth smaller than by its usual way.
fn gzip(bytes: &[u8]) -> Result<Vec<u8>> {
    let options = zopfli::Options {
        iteration_count: ROUNDS,
        ..zopfli::Options::default()
    };
    let mut packed = Vec::new();
    zopfli::compress(options, zopfli::Format::Gzip, bytes, &mut packed)?;
    Ok(packed)
}

fn run(command: &mut Command) -> Result<()> {
    let program = command.get_program().to_string_lossy().into_owned();
    let status = command.status().map_err(|e| format!("{program}: {e}"))?;
    if status.success() {
        Ok(())
    } else {
        Err(format!("{program}: {status}").into())
    }
}
