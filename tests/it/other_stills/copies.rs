//! Copies that were made here and moved away from their folder are no stills.
use std::fs;

use crate::exchange::stage::{export, folder, said_of};
use crate::support::program::zonecall;
use crate::support::pydicom;

use zonecall::frames::folder::one;

#[test]
fn a_copy_is_told_from_a_still_wherever_it_lies() {
    let exam = folder();
    let stick = tempfile::tempdir().unwrap();
    for form in ["labelled", "teaching"] {
        export(exam.path(), form, &[], 0);
        for kind in ["dcm", "png"] {
            let copy = exam.path().join(format!("out/{form}/LF_2B_T_SDFT_01.{kind}"));
            fs::copy(copy, stick.path().join(format!("{form}.{kind}"))).unwrap();
        }
    }
    // The mark leaves a picture whole for others.
    let script = "import sys\nfrom PIL import Image\nfor name in ('labelled', 'teaching'):\n    picture = Image.open(sys.argv[1] + '/' + name + '.png')\n    picture.load()\n    print(picture.text)";
    let told = pydicom::python_with(script, &[stick.path().to_str().unwrap()]);
    assert_eq!(told.matches("{'Software': 'zonecall: copy of a still'}").count(), 2, "{told}");
    fs::copy(exam.path().join("frames/IM1.dcm"), stick.path().join("still.dcm")).unwrap();
    let (exam, stills) = (exam.path().to_str().unwrap(), stick.path().to_str().unwrap());
    let said = said_of(&zonecall(&["pair", exam, "--frames", stills]));
    assert_eq!(
        said.matches("a copy that zonecall made of a still; take the still itself").count(),
        4,
        "{said}"
    );
    assert!(said.contains("3 stills, 0 of them new"), "{said}");
}

/// A scanner's own derived images are stills, and so is what another program has worked on.
#[test]
fn what_others_derived_is_taken() {
    use dicom_core::value::DataSetSequence;
    use dicom_core::{DataElement, PrimitiveValue, VR};
    use dicom_dictionary_std::{tags, uids};
    use dicom_object::{FileMetaTableBuilder, InMemDicomObject};
    let folder = tempfile::tempdir().unwrap();
    for maker in ["A maker", "zonecall"] {
        let path = folder.path().join("a.dcm");
        let mut still = crate::exchange::stage::still(1, 14.0);
        let kind = PrimitiveValue::Strs(["DERIVED".to_owned(), "PRIMARY".to_owned()].to_vec().into());
        still.put(DataElement::new(tags::IMAGE_TYPE, VR::CS, kind));
        let mut item = InMemDicomObject::new_empty();
        item.put(DataElement::new(tags::MANUFACTURER, VR::LO, maker));
        let items = DataSetSequence::from(vec![item]);
        still.put(DataElement::new(tags::CONTRIBUTING_EQUIPMENT_SEQUENCE, VR::SQ, items));
        let meta = FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
        still.with_meta(meta).unwrap().write_to_file(&path).unwrap();
        assert_eq!(one(&path, folder.path(), 0).is_ok(), maker == "A maker");
    }
}
