// Holds PDF files against PDF/A-2a (ISO 19005-2) and PDF/UA-1 (ISO 14289-1), and prints what is wrong with each as one line a rule.
import java.io.FileInputStream;
import java.io.InputStream;
import java.util.LinkedHashSet;
import java.util.Set;
import org.verapdf.gf.foundry.VeraGreenfieldFoundryProvider;
import org.verapdf.pdfa.Foundries;
import org.verapdf.pdfa.PDFAParser;
import org.verapdf.pdfa.PDFAValidator;
import org.verapdf.pdfa.flavours.PDFAFlavour;
import org.verapdf.pdfa.results.TestAssertion;
import org.verapdf.pdfa.results.ValidationResult;

public class PrintJudge {
    public static void main(String[] args) throws Exception {
        VeraGreenfieldFoundryProvider.initialise();
        for (String path : args) {
            for (PDFAFlavour flavour : new PDFAFlavour[] {PDFAFlavour.PDFA_2_A, PDFAFlavour.PDFUA_1}) {
                judge(path, flavour);
            }
        }
    }

    private static void judge(String path, PDFAFlavour flavour) throws Exception {
        try (InputStream file = new FileInputStream(path);
                PDFAParser parser = Foundries.defaultInstance().createParser(file, flavour)) {
            PDFAValidator validator = Foundries.defaultInstance().createValidator(flavour, false);
            ValidationResult result = validator.validate(parser);
            Set<String> rules = new LinkedHashSet<>();
            for (TestAssertion found : result.getTestAssertions()) {
                if (found.getStatus() == TestAssertion.Status.FAILED) {
                    rules.add(found.getRuleId().getClause() + " test " + found.getRuleId().getTestNumber() + ": " + found.getMessage());
                }
            }
            for (String rule : rules) {
                System.out.println("wrong\t" + flavour + "\t" + path + "\t" + rule);
            }
            System.out.println((result.isCompliant() ? "keeps" : "breaks") + "\t" + flavour + "\t" + path + "\t" + result.getTotalAssertions() + " checks");
        }
    }
}
