//! `walewise serve`: the page for photos in a browser, from this program, for this machine alone.

use super::ExitStatus;
use super::output;
use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Show the page in a browser on this machine: measure photos, plan pieces, keep swatches
///
/// Nothing leaves the machine: the page is served on 127.0.0.1 alone, and measures in the browser.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  walewise serve
  walewise serve --site web/dist --port 8080")]
pub struct ServeArguments {
    /// Port on 127.0.0.1; what the browser keeps belongs to this address, so stay with one
    #[arg(long, value_name = "N", default_value_t = 4978)]
    port: u16,

    /// Folder of the built page, instead of the one in this program
    #[arg(long, value_name = "FOLDER")]
    site: Option<PathBuf>,
}

/// Files of the page by their path in it.
type Site = BTreeMap<String, Vec<u8>>;

/// The files that were built before this program was; empty where none were.
const BUILT_IN: &[(&str, &[u8])] = include!(concat!(env!("OUT_DIR"), "/page_files.rs"));

/// What the page may do: what its own file says, and not to be shown inside another page.
const POLICY: &str = "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; worker-src 'self'; connect-src 'self'; \
                      style-src 'self'; img-src 'self' blob:; manifest-src 'self'; form-action 'none'; base-uri 'none'; \
                      frame-ancestors 'none'";

/// More than any built page holds: a folder named by mistake is not read whole.
const MOST_BYTES: u64 = 64 << 20;

/// Connections that are open at once. A browser opens at most six to one address, some of them in case it needs them;
/// each holds one of these until [`PATIENCE`] ends it.
const AT_ONCE: usize = 32;

/// How long a browser may take to say what it wants, or to take what it asked for.
const PATIENCE: Duration = Duration::from_secs(10);

/// More than any browser says of itself.
const LONGEST_REQUEST: usize = 16 << 10;

/// Most header lines of a request.
const MOST_HEADERS: usize = 64;

/// Runs until it is stopped.
pub fn run(arguments: &ServeArguments) -> ExitStatus {
    let site = match site(arguments.site.as_deref()) {
        Ok(site) => site,
        Err(message) => {
            output::complain(&message);
            return ExitStatus::BadArguments;
        }
    };
    // Port 0 asks the system for any that is free.
    let bound = TcpListener::bind(("127.0.0.1", arguments.port)).and_then(|l| l.local_addr().map(|at| (l, at.port())));
    let (listener, port) = match bound {
        Ok(bound) => bound,
        Err(error) => {
            output::complain(&format!("port {} can't be used: {error}; choose another with --port", arguments.port));
            return ExitStatus::Other;
        }
    };
    if output::print(&format!("The page is at http://127.0.0.1:{port}/ (Ctrl-C ends it).\n")).is_err() {
        return ExitStatus::Other;
    }
    std::thread::scope(|scope| {
        for _ in 0..AT_ONCE {
            scope.spawn(|| take_connections(&listener, &site, port));
        }
    });
    ExitStatus::Done
}

/// Answers one connection after the other, for ever.
fn take_connections(listener: &TcpListener, site: &Site, port: u16) {
    /// After a connection that could not be taken (too many open files), so that waiting costs nothing.
    const BREATH: Duration = Duration::from_millis(100);
    loop {
        match listener.accept() {
            // A browser that went away is nobody's mistake.
            Ok((stream, _)) => drop(converse(stream, site, port)),
            Err(_) => std::thread::sleep(BREATH),
        }
    }
}

/// Reads one request, answers it and ends the connection: a connection that was kept would keep its thread.
fn converse(mut stream: TcpStream, site: &Site, port: u16) -> std::io::Result<()> {
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.set_write_timeout(Some(PATIENCE))?;
    let Some(request) = read_request(&mut stream)? else { return Ok(()) };
    stream.write_all(&answer(request, site, port))?;
    stream.shutdown(Shutdown::Write)?;
    // Whatever else was sent is read, or the system would take the answer back.
    std::io::copy(&mut stream.take(LONGEST_REQUEST as u64), &mut std::io::sink())?;
    Ok(())
}

fn site(folder: Option<&Path>) -> Result<Site, String> {
    let site = match folder {
        Some(folder) => read_folder(folder).map_err(|e| format!("--site {}: {e}", folder.display()))?,
        None => BUILT_IN.iter().map(|(name, bytes)| ((*name).to_owned(), bytes.to_vec())).collect(),
    };
    match (site.contains_key("index.html"), folder) {
        (true, _) => Ok(site),
        (false, Some(folder)) => Err(format!("--site {}: there is no index.html in it", folder.display())),
        (false, None) => Err("this program was built without the page: build it with web/build, then name its folder \
                              with --site, or build the program again"
            .to_owned()),
    }
}

fn read_folder(folder: &Path) -> Result<Site, String> {
    let mut site = Site::new();
    let mut folders = vec![folder.to_owned()];
    let mut bytes = 0;
    while let Some(next) = folders.pop() {
        for entry in std::fs::read_dir(&next).map_err(|e| e.to_string())? {
            let path = entry.map_err(|e| e.to_string())?.path();
            let about = std::fs::symlink_metadata(&path).map_err(|e| e.to_string())?;
            if about.is_dir() {
                folders.push(path);
            } else if about.is_file() {
                bytes += about.len();
                if bytes > MOST_BYTES {
                    return Err("this holds more than a built page".to_owned());
                }
                let name = path.strip_prefix(folder).unwrap_or(&path).to_string_lossy().replace('\\', "/");
                site.insert(name, std::fs::read(&path).map_err(|e| e.to_string())?);
            }
        }
    }
    Ok(site)
}

/// What was asked for.
#[derive(Debug, PartialEq)]
struct Request {
    method: String,
    path: String,
    host: Option<String>,
}

/// The request, without what may follow it; `Err` holds the status for one that is none. `None` where the browser said
/// nothing and went away.
fn read_request(stream: &mut impl Read) -> std::io::Result<Option<Result<Request, Refusal>>> {
    let mut bytes = Vec::new();
    let mut piece = [0; 2048];
    loop {
        match stream.read(&mut piece)? {
            0 => return Ok(None),
            n => bytes.extend_from_slice(&piece[..n]),
        }
        match parsed(&bytes) {
            Ok(None) if bytes.len() > LONGEST_REQUEST => return Ok(Some(Err((431, "this says too much\n")))),
            Ok(None) => {}
            Ok(Some(request)) => return Ok(Some(Ok(request))),
            Err(refusal) => return Ok(Some(Err(refusal))),
        }
    }
}

/// `None` while its end is not there yet.
fn parsed(bytes: &[u8]) -> Result<Option<Request>, Refusal> {
    let mut headers = [httparse::EMPTY_HEADER; MOST_HEADERS];
    let mut head = httparse::Request::new(&mut headers);
    let status = head.parse(bytes).map_err(|_| (400, "this is no request\n"))?;
    if status.is_partial() {
        return Ok(None);
    }
    let host = head.headers.iter().find(|h| h.name.eq_ignore_ascii_case("host"));
    let text = |of: Option<&str>| of.unwrap_or_default().to_owned();
    let host = host.map(|h| String::from_utf8_lossy(h.value).into_owned());
    Ok(Some(Request { method: text(head.method), path: text(head.path), host }))
}

/// Status and words.
type Refusal = (u16, &'static str);

/// The answer as it is sent.
fn answer(request: Result<Request, Refusal>, site: &Site, port: u16) -> Vec<u8> {
    let only_head = request.as_ref().is_ok_and(|r| r.method == "HEAD");
    let (status, body, kind) = match request.and_then(|request| reply(&request, site, port)) {
        Ok((bytes, kind)) => (200, bytes, kind),
        Err((status, message)) => (status, message.as_bytes(), "text/plain; charset=utf-8"),
    };
    let length = body.len();
    let head = format!(
        "HTTP/1.1 {status} {}\r\nContent-Type: {kind}\r\nContent-Length: {length}\r\nContent-Security-Policy: {POLICY}\r\n\
         X-Content-Type-Options: nosniff\r\nReferrer-Policy: no-referrer\r\nCross-Origin-Opener-Policy: same-origin\r\n\
         Cross-Origin-Resource-Policy: same-origin\r\nCache-Control: no-cache\r\nConnection: close\r\n\r\n",
        if status == 200 { "OK" } else { "No" }
    );
    let mut out = head.into_bytes();
    if !only_head {
        out.extend_from_slice(body);
    }
    out
}

/// The file that is asked for.
fn reply<'a>(request: &Request, site: &'a Site, port: u16) -> Result<(&'a [u8], &'static str), Refusal> {
    if !is_this_machine(request.host.as_deref(), port) {
        return Err((403, "this page is for this machine alone\n"));
    }
    if !matches!(request.method.as_str(), "GET" | "HEAD") {
        return Err((405, "only GET is answered\n"));
    }
    let path = request.path.split(['?', '#']).next().unwrap_or_default().trim_start_matches('/');
    let path = if path.is_empty() { "index.html" } else { path };
    site.get(path).map(|bytes| (bytes.as_slice(), kind_of(path))).ok_or((404, "there is no such file\n"))
}

/// Whether the browser asked for this machine by its own name: another site's name that leads here (DNS rebinding) is
/// not answered.
fn is_this_machine(host: Option<&str>, port: u16) -> bool {
    host.is_some_and(|host| ["127.0.0.1", "localhost"].iter().any(|name| host == format!("{name}:{port}")))
}

fn kind_of(path: &str) -> &'static str {
    match path.rsplit('.').next() {
        Some("html") => "text/html; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("css") => "text/css; charset=utf-8",
        Some("svg") => "image/svg+xml",
        Some("png") => "image/png",
        Some("wasm") => "application/wasm",
        Some("webmanifest") => "application/manifest+json",
        _ => "text/plain; charset=utf-8",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_this_machine_by_its_own_name() {
        assert!(is_this_machine(Some("127.0.0.1:4978"), 4978) && is_this_machine(Some("localhost:4978"), 4978));
        for host in [None, Some(""), Some("127.0.0.1"), Some("127.0.0.1:80"), Some("evil.example:4978")] {
            assert!(!is_this_machine(host, 4978), "{host:?}");
        }
    }

    #[test]
    fn a_folder_is_a_page_only_with_its_first_file() {
        let folder = tempfile::tempdir().expect("a folder");
        assert!(site(Some(folder.path())).unwrap_err().contains("no index.html"));
        std::fs::create_dir(folder.path().join("in")).expect("a folder");
        std::fs::write(folder.path().join("index.html"), "page").expect("a file");
        std::fs::write(folder.path().join("in/a.js"), "script").expect("a file");
        let site = site(Some(folder.path())).expect("a page");
        assert_eq!(site.keys().collect::<Vec<_>>(), ["in/a.js", "index.html"]);
    }

    fn asked(text: &str) -> Option<Result<Request, Refusal>> {
        read_request(&mut text.as_bytes()).expect("reading from memory")
    }

    #[test]
    fn requests_are_read_to_their_end() {
        let request = asked("GET /style.css?v=1 HTTP/1.1\r\nAccept: */*\r\nhOST: localhost:80\r\n\r\nmore");
        let (method, path) = ("GET".to_owned(), "/style.css?v=1".to_owned());
        assert_eq!(request, Some(Ok(Request { method, path, host: Some("localhost:80".to_owned()) })));
        assert_eq!(asked(""), None);
        assert_eq!(asked("GET / HTTP/1.1\r\nHost: local"), None);
        assert!(matches!(asked("\u{1}\u{2}\r\n\r\n"), Some(Err((400, _)))));
        let long = format!("GET /{} HTTP/1.1\r\n", "a".repeat(2 * LONGEST_REQUEST));
        assert!(matches!(asked(&long), Some(Err((431, _)))));
    }

    #[test]
    fn every_connection_of_a_browser_is_answered_while_all_stay_open() {
        let listener = TcpListener::bind(("127.0.0.1", 0)).expect("a port");
        let address = listener.local_addr().expect("an address");
        let site = Site::from([("index.html".to_owned(), b"page".to_vec())]);
        std::thread::spawn(move || {
            std::thread::scope(|scope| {
                for _ in 0..AT_ONCE {
                    scope.spawn(|| take_connections(&listener, &site, address.port()));
                }
            });
        });
        let mut open: Vec<TcpStream> = (0..20).map(|_| TcpStream::connect(address).expect("a connection")).collect();
        // The last ones are asked first: none waits for one that says nothing.
        for stream in open.iter_mut().rev().take(12) {
            stream.set_read_timeout(Some(PATIENCE)).expect("a timeout");
            write!(stream, "GET / HTTP/1.1\r\nHost: {address}\r\n\r\n").expect("a request");
            let mut text = String::new();
            stream.read_to_string(&mut text).expect("an answer");
            assert!(text.starts_with("HTTP/1.1 200 ") && text.ends_with("\r\n\r\npage"), "{text}");
        }
    }
}
