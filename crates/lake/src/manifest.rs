//! The manifest: which files are live, as of which generation.

use serde::{Deserialize, Serialize};
use shot::Month;

use crate::LakeError;
use crate::shelf::PutIf;
use crate::store::Store;

const FORMAT_VERSION: i64 = 1;

/// The live files of one site. Rewritten whole, in one act, as the last step of each publication.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Manifest {
    /// Version of this document's own format.
    pub format_version: i64,
    /// The site.
    pub site_id: String,
    /// Rises by one with each publication that changed a file.
    pub generation: i64,
    /// The files, sorted by dataset and month.
    pub files: Vec<ManifestFile>,
    /// Frozen files that are no longer live and go soon. Absent in lakes of older versions.
    #[serde(default)]
    pub retired: Vec<RetiredFile>,
    /// What may be replaced when this manifest is written.
    #[serde(skip)]
    pub(crate) replaces: Replaces,
}

/// The document in whose place a manifest is written.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) enum Replaces {
    /// Whatever stands.
    #[default]
    Anything,
    /// Nothing: none stood when this manifest was begun.
    Nothing,
    /// The document of this version, which this manifest was read from.
    Version(String),
}

/// One live file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ManifestFile {
    /// Dataset.
    pub dataset: String,
    /// Month of the local dates in it; `None` for a dataset without months.
    #[serde(with = "month_text")]
    pub month: Option<Month>,
    /// Path relative to the lake's root, with forward slashes.
    pub path: String,
    /// Rows.
    pub rows: i64,
    /// Size in bytes.
    pub bytes: i64,
    /// SHA-256 of the file, 64 hexadecimal digits.
    pub sha256: String,
    /// Generation that last changed the file.
    pub generation: i64,
    /// Version of the dataset's columns.
    pub schema_version: i64,
    /// Path, relative to the lake's root, under which these very bytes stay while later publications replace the file at `path`.
    /// Absent in lakes of older versions until the next publication.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub frozen: Option<String>,
}

/// A frozen file that is no longer live.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RetiredFile {
    /// Path relative to the lake's root.
    pub path: String,
    /// When a manifest no longer named it as live, UTC microseconds since 1970.
    pub retired_at: i64,
}

impl Manifest {
    pub(crate) fn empty(site_id: &str) -> Manifest {
        Manifest {
            format_version: FORMAT_VERSION,
            site_id: site_id.into(),
            generation: 0,
            files: Vec::new(),
            retired: Vec::new(),
            replaces: Replaces::Anything,
        }
    }

    /// The entry of one partition.
    pub fn file(&self, dataset: &str, month: Option<Month>) -> Option<&ManifestFile> {
        self.files.iter().find(|file| file.dataset == dataset && file.month == month)
    }

    /// The files of one dataset, ascending by month.
    pub fn of_dataset<'a>(&'a self, dataset: &'a str) -> impl Iterator<Item = &'a ManifestFile> {
        self.files.iter().filter(move |file| file.dataset == dataset)
    }

    pub(crate) fn put(&mut self, entry: ManifestFile) {
        self.drop_file(&entry.dataset, entry.month);
        let place = (entry.dataset.clone(), entry.month);
        let position = self.files.partition_point(|file| (&file.dataset, file.month) < (&place.0, place.1));
        self.files.insert(position, entry);
    }

    pub(crate) fn drop_file(&mut self, dataset: &str, month: Option<Month>) {
        self.files.retain(|file| !(file.dataset == dataset && file.month == month));
    }

    pub(crate) fn read(store: &Store) -> Result<Manifest, LakeError> {
        let path = store.manifest_path();
        // Looked at first: if it is replaced in between, the version is the older one and writing is refused.
        let replaces = store.version_of(&path)?.map_or(Replaces::Nothing, Replaces::Version);
        let Some(bytes) = store.read_document(&path)? else {
            return Ok(Manifest { replaces, ..Manifest::empty(&store.site_id) });
        };
        let hint = "stop the daemon, then `strikemill repair` writes it anew from the files that stand";
        let mut manifest: Manifest = serde_json::from_slice(&bytes)
            .map_err(|cause| LakeError::document(&path, format!("is no manifest: {cause}"), hint))?;
        if manifest.format_version != FORMAT_VERSION {
            let problem = format!("has format version {}, not {FORMAT_VERSION}", manifest.format_version);
            return Err(LakeError::document(&path, problem, "use the version of strikemill that wrote this lake"));
        }
        if manifest.site_id != store.site_id {
            let problem = format!("belongs to site \"{}\", not \"{}\"", manifest.site_id, store.site_id);
            return Err(LakeError::document(&path, problem, "check site.id in the configuration"));
        }
        manifest.replaces = replaces;
        Ok(manifest)
    }

    /// Writes the manifest in place of the one it was read from. If another one stands there by now, a second writer is at this
    /// site: its publication must not be forgotten.
    pub(crate) fn write(&self, store: &Store) -> Result<(), LakeError> {
        let path = store.manifest_path();
        let condition = match &self.replaces {
            Replaces::Anything => PutIf::Always,
            Replaces::Nothing => PutIf::Absent,
            Replaces::Version(version) => PutIf::Version(version.clone()),
        };
        if store.replace_document(&path, &json_bytes(&path, self)?, &condition)? {
            return Ok(());
        }
        let hint = "let only one daemon write a site's lake; what was staged is published by the next try";
        Err(LakeError::document(&path, "was replaced by another writer during this publication", hint))
    }
}

/// Pretty JSON with a final line end: these documents are also read by people.
pub(crate) fn json_bytes(path: &std::path::Path, value: &impl Serialize) -> Result<Vec<u8>, LakeError> {
    let mut bytes = serde_json::to_vec_pretty(value)
        .map_err(|cause| LakeError::document(path, cause.to_string(), "this is a fault of strikemill, report it"))?;
    bytes.push(b'\n');
    Ok(bytes)
}

mod month_text {
    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serializer};
    use shot::Month;

    #[allow(clippy::ref_option, clippy::trivially_copy_pass_by_ref)] // serde calls it with a reference to the field
    pub fn serialize<S: Serializer>(month: &Option<Month>, serializer: S) -> Result<S::Ok, S::Error> {
        match month {
            Some(month) => serializer.collect_str(month),
            None => serializer.serialize_none(),
        }
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<Month>, D::Error> {
        let Some(text) = Option::<String>::deserialize(deserializer)? else { return Ok(None) };
        Month::parse(&text).map(Some).ok_or_else(|| D::Error::custom(format!("\"{text}\" is no month YYYY-MM")))
    }
}
